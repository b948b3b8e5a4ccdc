package agree

// Stratum is one line of the analysis of variance of balanced data.
type Stratum struct {
	Name     string
	DF       int
	SS, MS   float64 // sum of squares and mean square, in squared units of the score
	Variance float64 // the component that the mean squares give; below 0 when the effect does not show
}

// sizes is how many levels each facet of a set has, multiplied.
func (l *layout) sizes(of facets) float64 {
	n := 1.0
	if of&person != 0 {
		n *= float64(l.persons)
	}
	if of&item != 0 {
		n *= float64(l.items)
	}
	if of&rater != 0 {
		n *= float64(l.raters)
	}
	return n
}

// strata is the analysis of variance of balanced data, with the components that solve the expected
// mean squares (Brennan 2001, Generalizability Theory, chapter 3), in units of y. parts[s][t] is the
// share of mean square t in the component of stratum s.
func (l *layout) strata() (lines []Stratum, parts [][]float64) {
	effects := l.design.effects()
	all := person | item | rater
	if !l.design.has(rater) {
		all &^= rater
	}
	if !l.design.has(item) {
		all &^= item
	}
	lines, parts = make([]Stratum, len(effects)), make([][]float64, len(effects))
	for s, e := range effects {
		ss, groups := l.groupSquares(e.of)
		df := groups - 1
		for t := range s {
			if effects[t].of&e.of == effects[t].of {
				ss -= lines[t].SS
				df -= lines[t].DF
			}
		}
		lines[s] = Stratum{Name: e.name, DF: df, SS: max(0, ss), MS: max(0, ss) / float64(df)}
	}
	// E(MS of s) is the sum, over the effects t that carry all facets of s, of the component of t
	// times the levels of the facets that t lacks. Solve from the residual down.
	for s := len(effects) - 1; s >= 0; s-- {
		parts[s] = make([]float64, len(effects))
		parts[s][s] = 1
		for t := s + 1; t < len(effects); t++ {
			if effects[t].of&effects[s].of != effects[s].of {
				continue
			}
			times := l.sizes(all &^ effects[t].of)
			for u, v := range parts[t] {
				parts[s][u] -= times * v
			}
		}
		times := l.sizes(all &^ effects[s].of)
		for u := range parts[s] {
			parts[s][u] /= times
			lines[s].Variance += parts[s][u] * lines[u].MS
		}
	}
	return lines, parts
}

// groupSquares is the sum over the groups of an effect of (sum of y)^2 / size, y being centred.
func (l *layout) groupSquares(of facets) (sum float64, groups int) {
	labels, n := l.label(of)
	own := of&person != 0
	total := make([]float64, n)
	size := make([]float64, n)
	flush := func() {
		for g, v := range total {
			if size[g] > 0 {
				sum += v * v / size[g]
				groups++
			}
			total[g], size[g] = 0, 0
		}
	}
	for p := range l.persons {
		for k := l.start[p]; k < l.start[p+1]; k++ {
			g := labels[l.cell[k]]
			total[g] += l.y[k]
			size[g]++
		}
		if own {
			flush()
		}
	}
	if !own {
		flush()
	}
	return sum, groups
}
