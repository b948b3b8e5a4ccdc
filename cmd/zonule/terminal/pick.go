package terminal

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strconv"
	"time"

	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
)

// Pick shows the scenarios by the titles trainees may read and asks for one.
func (p *Player) Pick(ctx context.Context) (string, error) {
	page, err := p.Scenarios.ListScenarios(ctx, &scenariov1.ListScenariosRequest{})
	if err != nil {
		return "", err
	}
	if len(page.GetVersions()) == 0 {
		return "", errors.New("no scenario is published here; publish one with: zonule scenario publish SCENARIO RUBRIC")
	}
	p.say("\n%s\n\n", p.Style.bold("Which case?"))
	for i, v := range page.GetVersions() {
		p.say("  %s  %s\n", p.Style.bold(strconv.Itoa(i+1)), v.GetShownAs())
	}
	p.say("\n")
	for {
		a, err := p.In.Answer(ctx, time.Minute)
		if errors.Is(err, errWaited) {
			continue
		}
		if err != nil {
			return "", err
		}
		if n, err := strconv.Atoi(a.Word); err == nil && n >= 1 && n <= len(page.GetVersions()) {
			return page.GetVersions()[n-1].GetScenarioId(), nil
		}
		p.say("  1 to %d choose.\n", len(page.GetVersions()))
	}
}

// Cooked gives a writer that begins each line at the left edge while the terminal is raw.
func Cooked(w io.Writer, raw bool) io.Writer {
	if !raw {
		return w
	}
	return cooked{w}
}

type cooked struct{ w io.Writer }

func (c cooked) Write(b []byte) (int, error) {
	if _, err := c.w.Write(bytes.ReplaceAll(b, []byte("\n"), []byte("\r\n"))); err != nil {
		return 0, err
	}
	return len(b), nil
}
