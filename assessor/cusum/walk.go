package cusum

import "math"

// walk is what every chart of met and missed drills is: a score that starts at 0, moves by one of
// two steps of opposite sign, never falls below 0, and signals when it reaches h.
type walk struct{ success, failure, h float64 }

// The score comes back to 0 again and again, and then starts afresh. So the run length is a
// renewal process: excursions from 0, each of which ends after some drills either at 0 or in a
// signal. Within an excursion of age m the score depends on the number of failures alone, so its
// distribution is a short row of binomial-like masses; that enumerates every reachable score.

// excursion holds, for each length (index; 0 is not used), the probability that an excursion from
// score 0 ends after that many drills by coming back to 0, or by a signal. One step down at score
// 0 is an excursion of length 1.
type excursion struct{ back, signal []float64 }

// negligible is the mass below which an excursion is not followed further.
const negligible = 1e-18

// explore enumerates excursions at the given failure rate up to length n; n <= 0 means until the
// mass left is negligible.
func (w walk) explore(rate float64, n int) excursion {
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
			score := (float64(age)-failed)*w.success + failed*w.failure
			switch {
			case score >= w.h-rounding:
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
		// Scores move one way as failures rise, so what is alive is one stretch of the row.
		alive = append(alive[:0], next[first:last+1]...)
		low += first
	}
	return excursion{back, signal}
}

// signals is the probability that the first signal comes at drill 1 ... n; NaN for a rate outside
// 0..1.
func (w walk) signals(rate float64, n int) []float64 {
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
	e := w.explore(rate, n)
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

// within is the probability of a signal within n drills.
func (w walk) within(rate float64, n int) float64 {
	sum := 0.0
	for _, p := range w.signals(rate, n) {
		sum += p
	}
	return math.Min(sum, 1)
}

// arl is the mean number of drills to the first signal: by renewal, the mean length of an
// excursion over the probability that one signals.
func (w walk) arl(rate float64) float64 {
	if !(rate >= 0 && rate <= 1) {
		return math.NaN()
	}
	e := w.explore(rate, 0)
	var mean, signals float64
	for length := len(e.back) - 1; length > 0; length-- { // small terms first
		mean += float64(length) * (e.back[length] + e.signal[length])
		signals += e.signal[length]
	}
	return mean / signals
}

// follow draws the score over a series of outcomes, true for a failure. The score goes on after a
// signal as if there had been none. It is summed from counts, so that rounding does not pile up.
func (w walk) follow(failures []bool) Path {
	p := Path{Scores: make([]float64, len(failures))}
	var successes, failed float64 // since the score was last 0
	for t, bad := range failures {
		if bad {
			failed++
		} else {
			successes++
		}
		score := successes*w.success + failed*w.failure
		if score <= rounding {
			score, successes, failed = 0, 0, 0
		}
		p.Scores[t] = score
		if p.Signal == 0 && score >= w.h-rounding {
			p.Signal = t + 1
		}
	}
	return p
}
