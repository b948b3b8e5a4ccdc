package script

// Stream is a stream of seeded chance for one purpose, the model eye's own kind (splitmix64 keyed by an
// FNV-1a hash of the purpose), so that draws for different purposes never disturb each other.
type Stream struct{ s uint64 }

const golden = 0x9E3779B97F4A7C15

// NewStream starts the stream of a seed and a purpose.
func NewStream(seed uint64, purpose string) *Stream {
	h := uint64(14695981039346656037)
	for _, b := range []byte(purpose) {
		h = (h ^ uint64(b)) * 1099511628211
	}
	s := &Stream{s: (seed * golden) ^ h}
	s.next()
	return s
}

func (s *Stream) next() uint64 {
	s.s += golden
	z := s.s
	z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
	z = (z ^ z>>27) * 0x94D049BB133111EB
	return z ^ z>>31
}

// Uniform gives a number strictly between 0 and 1.
func (s *Stream) Uniform() float64 { return (float64(s.next()>>11) + 0.5) / (1 << 53) }

// Below gives a whole number from 0 to n-1.
func (s *Stream) Below(n int) int { return min(n-1, int(s.Uniform()*float64(n))) }

// Shuffle orders n things by chance (Fisher and Yates).
func (s *Stream) Shuffle(n int, swap func(i, j int)) {
	for i := n - 1; i > 0; i-- {
		swap(i, s.Below(i+1))
	}
}
