package cusum

// walk of the learning-curve chart: successes raise the score, failures lower it.
func (c Chart) walk() walk {
	success, failure := c.Weights()
	return walk{success, failure, c.H}
}

// Signals returns the probability that the chart first signals at drill 1, 2 ... n when every
// drill fails with the given rate: n numbers. The rate must lie in 0..1, else the numbers are NaN.
func (c Chart) Signals(rate float64, n int) []float64 { return c.walk().signals(rate, n) }

// Within returns the exact probability that the chart signals within n drills when every drill
// fails with the given rate (0..1, else NaN).
func (c Chart) Within(rate float64, n int) float64 { return c.walk().within(rate, n) }

// ARL is the average run length: the mean number of drills to the first signal, from score 0,
// when every drill fails with the given rate (0..1, else NaN). It is +Inf when no signal can come;
// show it then as "never".
func (c Chart) ARL(rate float64) float64 { return c.walk().arl(rate) }

// Follow draws the chart over a series of outcomes, true for a failure, in order. The scores go
// on after a signal as if there had been none.
func (c Chart) Follow(failures []bool) Path { return c.walk().follow(failures) }
