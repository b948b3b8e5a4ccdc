package cusum

import "math"

// The score comes back to 0 again and again, and then starts afresh. So the run length is a
// renewal process: excursions from 0, each of which ends after some drills either at 0 or in a
// signal. Within an excursion of age m the score depends on the number of failures alone, so its
// distribution is a short row of binomial-like masses; that enumerates every reachable score.

// excursion holds, for each length (index; 0 is not used), the probability that an excursion from
// score 0 ends after that many drills by coming back to 0, or by a signal. One failure at score 0
// is an excursion of length 1.
type excursion struct{ back, signal []float64 }

// negligible is the mass below which an excursion is not followed further.
const negligible = 1e-18

// explore enumerates excursions at the given failure rate up to length n; n <= 0 means until the
// mass left is negligible.
func (c Chart) explore(rate float64, n int) excursion {
	success, failure := c.Weights()
	back, signal := []float64{0}, []float64{0}
	// alive[k] is the mass at age m with low+k failures.
	alive, low := []float64{1}, 0
	var next []float64
	for age := 1; n <= 0 || age <= n; age++ {
		next = append(next[:0], make([]float64, len(alive)+1)...)
		for k, mass := range alive {
			next[k] += mass * (1 - rate)
			next[k+1] += mass * rate
		}
		var toZero, toSignal, left float64
		first, last := -1, -1
		for k, mass := range next {
			failed := float64(low + k)
			score := (float64(age)-failed)*success + failed*failure
			switch {
			case score >= c.H-rounding:
				toSignal += mass
			case score <= rounding:
				toZero += mass
			default:
				left += mass
				if first < 0 {
					first = k
				}
				last = k
			}
		}
		back, signal = append(back, toZero), append(signal, toSignal)
		if first < 0 || left < negligible {
			break
		}
		// Scores fall as failures rise, so what is alive is one stretch of the row.
		alive = append(alive[:0], next[first:last+1]...)
		low += first
	}
	return excursion{back, signal}
}

// Signals returns the probability that the chart first signals at drill 1, 2 ... n when every
// drill fails with the given rate: n numbers. The rate must lie in 0..1, else the numbers are NaN.
func (c Chart) Signals(rate float64, n int) []float64 {
	if n < 1 {
		return nil
	}
	out := make([]float64, n)
	if !(rate >= 0 && rate <= 1) {
		for i := range out {
			out[i] = math.NaN()
		}
		return out
	}
	e := c.explore(rate, n)
	atZero := make([]float64, n) // probability that an excursion starts after drill t
	atZero[0] = 1
	for t := 1; t <= n; t++ {
		var start, signal float64
		for length := 1; length <= t && length < len(e.back); length++ {
			start += atZero[t-length] * e.back[length]
			signal += atZero[t-length] * e.signal[length]
		}
		if t < n {
			atZero[t] = start
		}
		out[t-1] = signal
	}
	return out
}

// Within returns the exact probability that the chart signals within n drills when every drill
// fails with the given rate (0..1, else NaN).
func (c Chart) Within(rate float64, n int) float64 {
	sum := 0.0
	for _, p := range c.Signals(rate, n) {
		sum += p
	}
	return math.Min(sum, 1)
}

// ARL is the average run length: the mean number of drills to the first signal, from score 0,
// when every drill fails with the given rate (0..1, else NaN). It is +Inf when no signal can come.
//
// By renewal it is the mean length of an excursion over the probability that one signals.
func (c Chart) ARL(rate float64) float64 {
	if !(rate >= 0 && rate <= 1) {
		return math.NaN()
	}
	e := c.explore(rate, 0)
	var mean, signals float64
	for length := len(e.back) - 1; length > 0; length-- { // small terms first
		mean += float64(length) * (e.back[length] + e.signal[length])
		signals += e.signal[length]
	}
	return mean / signals
}
