package main

import (
	"context"
	"log/slog"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets scripts and tests run the program as a process of its own: this very test binary.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"zonule": func() { os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script"})
}

// quiet drops what a site logs.
func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }
