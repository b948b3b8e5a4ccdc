package policy

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"zonule/scenarios/eye"
)

// Sensitive is what became of one deviation on one eye over draws of uncertain parameters:
// in how many draws its mean harm exceeded that of the recommended plan, and the smallest
// margin.
type Sensitive struct {
	Case, Plan    string
	Worse, Draws  int
	Least, Median float64 // margin of mean harm
}

// doubtful lists the parameters of which too little is known, each drawn as its value times
// exp(0.3 n), n standard normal. Several fields make one parameter where they are one.
func doubtful(p *eye.Params) [][]*float64 {
	return [][]*float64{
		{&p.GForward}, {&p.GBack}, {&p.POVD}, {&p.KSuction}, {&p.Kr, &p.Kt, &p.Kz}, {&p.S}, {&p.T0}, {&p.EIRing}, {&p.Ct}, {&p.K},
		{&p.CortexPull}, {&p.Gap0}, {&p.KIris, &p.KZ},
	}
}

// Drawn gives the parameters of a draw. The same draw gives the same parameters.
func Drawn(draw int) eye.Params {
	p := eye.DefaultParams()
	s := uint64(draw)*0x9E3779B97F4A7C15 + 0x5851F42D4C957F2D
	uniform := func() float64 {
		hi, lo := bits.Mul64(s, 0xDA942042E4DD58B5) // a multiplicative generator, mixed
		s = lo ^ bits.RotateLeft64(hi, 17) + 0x9E3779B97F4A7C15
		return (float64((hi^lo)>>11) + 0.5) / (1 << 53)
	}
	for range 4 {
		uniform()
	}
	for _, fields := range doubtful(&p) {
		f := math.Exp(0.3 * math.Sqrt(-2*math.Log(uniform())) * math.Cos(2*math.Pi*uniform()))
		for _, x := range fields {
			*x *= f
		}
	}
	return p
}

// Sensitivity plays P0 to P6 on the three weak eyes with n seeds under each of so many draws.
func Sensitivity(draws, n, workers int) ([]Sensitive, error) {
	cases, plans := Cases()[:3], Plans()[:7]
	means := make([][3][7]float64, draws)
	errs := make([]error, draws)
	each(draws, workers, func(d int) {
		par := Drawn(d)
		for ci, c := range cases {
			for pi, p := range plans {
				runs, err := Runs(c, p, 1, n, 1, &par)
				if err != nil {
					errs[d] = fmt.Errorf("draw %d: %w", d, err)
					return
				}
				for _, o := range runs {
					means[d][ci][pi] += o.Harm() / float64(n)
				}
			}
		}
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	var out []Sensitive
	for ci, c := range cases {
		for pi := 1; pi < len(plans); pi++ {
			out = append(out, margins(c.Name, plans[pi].Name, means, ci, pi))
		}
	}
	return out, nil
}

func margins(name, plan string, means [][3][7]float64, ci, pi int) Sensitive {
	s := Sensitive{Case: name, Plan: plan, Draws: len(means), Least: math.Inf(1)}
	all := make([]float64, 0, len(means))
	for _, m := range means {
		d := m[ci][pi] - m[ci][0]
		if d > 0 {
			s.Worse++
		}
		s.Least = min(s.Least, d)
		all = append(all, d)
	}
	slices.Sort(all)
	s.Median = all[len(all)/2]
	return s
}

// FormatSensitivity writes one line an eye: draws in which the plan was worse (smallest, median
// margin).
func FormatSensitivity(all []Sensitive) string {
	var b strings.Builder
	b.WriteString("| eye | P1 | P2 | P3 | P4 | P5 | P6 |\n|---|---|---|---|---|---|---|")
	last := ""
	for _, s := range all {
		if s.Case != last {
			fmt.Fprintf(&b, "\n| %s |", s.Case)
			last = s.Case
		}
		fmt.Fprintf(&b, " %d of %d (%.1f, %.1f) |", s.Worse, s.Draws, s.Least, s.Median)
	}
	return b.String() + "\n"
}
