package clock

import (
	"testing"
	"time"
)

func TestSet(t *testing.T) {
	day := time.Date(2026, 2, 3, 9, 0, 0, 0, time.UTC)
	c := NewSet(day)
	if got := c.Now(); !got.Equal(day) {
		t.Errorf("a new clock stands at %v", got)
	}
	if got := c.Add(time.Hour); !got.Equal(day.Add(time.Hour)) || !c.Now().Equal(got) {
		t.Errorf("moved on by an hour it stands at %v", got)
	}
	c.Put(day)
	if got := c.Now(); !got.Equal(day) {
		t.Errorf("put back it stands at %v", got)
	}
	before := time.Now()
	c.Release()
	c.Put(day)
	if got := c.Now(); got.Before(before) {
		t.Errorf("released it still stands at %v", got)
	}
	if zone, _ := (System{}).Now().Zone(); zone != "UTC" {
		t.Errorf("the machine's clock tells %s, not UTC", zone)
	}
}
