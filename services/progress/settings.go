package progress

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"

	"zonule/assessor/cusum"
	"zonule/assessor/rubric"
)

// Settings say what a programme calls meeting the standard, and how sure its charts are to be. They are the programme's
// to set: no body has fixed such numbers for drills.
type Settings struct {
	// StandardLevel is the lowest level that meets the standard, 2 to 5.
	StandardLevel int
	// AdequateRate is the share of drills in which an adequate trainee still misses the standard, 0 to 1.
	AdequateRate float64
	// InadequateRate is the share from which a trainee is called not yet adequate, above AdequateRate.
	InadequateRate float64
	// Horizon is the number of drills over which FalseSignal is stated.
	Horizon int
	// FalseSignal is the probability, at most, that a chart signals within Horizon although the true rate is
	// InadequateRate.
	FalseSignal float64
	// Confidence of intervals and bands, 0 to 1.
	Confidence float64
}

// DefaultSettings are a place to start from, not a recommendation: level 3 ("safe"), failure rates of 0.15 and 0.40, one
// false signal in twenty over thirty drills, intervals of 95 per cent. A programme must set its own and say why.
func DefaultSettings() Settings {
	return Settings{StandardLevel: 3, AdequateRate: 0.15, InadequateRate: 0.40, Horizon: 30, FalseSignal: 0.05, Confidence: 0.95}
}

// chart makes the chart of the settings; the error says which of them cannot be.
func (s Settings) chart() (cusum.Chart, error) {
	if s.StandardLevel < 2 || s.StandardLevel > rubric.Top {
		return cusum.Chart{}, fmt.Errorf("progress: the standard level %d is outside 2 to %d", s.StandardLevel, rubric.Top)
	}
	if !(s.Confidence > 0 && s.Confidence < 1) {
		return cusum.Chart{}, fmt.Errorf("progress: the confidence %g is outside 0 to 1: write 0.95 for 95 per cent", s.Confidence)
	}
	c, err := cusum.Limit(s.AdequateRate, s.InadequateRate, s.Horizon, s.FalseSignal)
	if err != nil {
		return cusum.Chart{}, fmt.Errorf("progress: %w", err)
	}
	return c, nil
}

// version names the settings in a view's version: rows folded under others are folded again.
func (s Settings) version() uint32 {
	h := fnv.New32a()
	for _, v := range []float64{float64(s.StandardLevel), s.AdequateRate, s.InadequateRate, float64(s.Horizon), s.FalseSignal} {
		h.Write(binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)))
	}
	return h.Sum32()
}
