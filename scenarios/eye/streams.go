package eye

import "math"

// stream is one source of chance, splitmix64. Each purpose has its own, so that two
// plans tried on one seed meet the same eye.
type stream struct{ s uint64 }

// newStream starts the stream of a purpose: the seed is spread over 64 bits and mixed
// with the FNV-1a hash of the purpose; one output is discarded.
func newStream(seed uint64, purpose string) stream {
	h := uint64(14695981039346656037)
	for i := 0; i < len(purpose); i++ {
		h = (h ^ uint64(purpose[i])) * 1099511628211
	}
	s := stream{seed*0x9E3779B97F4A7C15 ^ h}
	s.next()
	return s
}

func (s *stream) next() uint64 {
	s.s += 0x9E3779B97F4A7C15
	z := s.s
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// uniform is within (0, 1), both ends excluded.
func (s *stream) uniform() float64 { return (float64(s.next()>>11) + 0.5) / (1 << 53) }

func (s *stream) normal() float64 {
	u := s.uniform()
	return math.Sqrt(-2*math.Log(u)) * math.Cos(2*math.Pi*s.uniform())
}

// lognormal has the given median.
func (s *stream) lognormal(median, sigma float64) float64 {
	return median * math.Exp(sigma*s.normal())
}

// weibull has shape m and mean 1.
func (s *stream) weibull(m float64) float64 {
	return math.Pow(-math.Log(s.uniform()), 1/m) / math.Gamma(1+1/m)
}
