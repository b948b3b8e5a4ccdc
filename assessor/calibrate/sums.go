package calibrate

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// sums adds up the conditional likelihood over groups.
type sums struct {
	c           *conditional
	beta        []float64
	value       float64
	slope       []float64 // by beta
	information []float64 // by beta and beta, upper half

	// Room for one group: distributions at its theta.
	p         [][]float64 // p[k][h], column k of the group
	forward   [][]float64 // forward[k][s]: the first k columns total s
	backward  [][]float64 // backward[k][r-s]: columns k.. total s
	marginal  [][]float64 // P(X = h given the total)
	rest, mid []float64
}

// probabilities is P(X = h), h = 0..top, with its mean and the logarithm of its norm.
func probabilities(beta []float64, theta float64, p []float64) (mean, lognorm float64) {
	top := 0.0
	for h, b := range beta {
		p[h+1] = float64(h+1)*theta - b
		top = math.Max(top, p[h+1])
	}
	p[0] = 0
	norm := 0.0
	for h := range p {
		p[h] = math.Exp(p[h] - top)
		norm += p[h]
	}
	for h := range p {
		p[h] /= norm
		mean += float64(h) * p[h]
	}
	return mean, math.Log(norm) + top
}

func (s *sums) column(i int) []float64 {
	return s.beta[s.c.first[i] : s.c.first[i]+s.c.top[i]]
}

// resize readies the room for a group.
func (s *sums) resize(g *group) {
	n := len(g.columns)
	for len(s.p) < n {
		s.p, s.marginal = append(s.p, nil), append(s.marginal, nil)
	}
	for len(s.forward) < n+1 {
		s.forward, s.backward = append(s.forward, nil), append(s.backward, nil)
	}
	for k, i := range g.columns {
		s.p[k] = sized(s.p[k], s.c.top[i]+1)
		s.marginal[k] = sized(s.marginal[k], s.c.top[i]+1)
	}
	for k := range n + 1 {
		s.forward[k] = sized(s.forward[k], g.total+1)
		s.backward[k] = sized(s.backward[k], g.total+1)
	}
	s.rest, s.mid = sized(s.rest, g.total+1), sized(s.mid, g.total+1)
}

// sized is v, or new room, of length n.
func sized(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

// tilt finds the theta at which the expected total is the total, roughly: any theta would do.
func (s *sums) tilt(g *group) (lognorm float64) {
	for round := 0; ; round++ {
		mean, spread := 0.0, 0.0
		lognorm = 0
		for k, i := range g.columns {
			m, l := probabilities(s.column(i), g.theta, s.p[k])
			mean += m
			lognorm += l
			for h, p := range s.p[k] {
				spread += p * (float64(h) - m) * (float64(h) - m)
			}
		}
		miss := float64(g.total) - mean
		if math.Abs(miss) < 0.05 || round == 40 {
			return lognorm
		}
		g.theta += math.Max(-2, math.Min(2, miss/math.Max(spread, 1e-3)))
	}
}

// convolve puts the distribution of (a total with distribution from) plus (a response with p) into
// to; both run over totals 0..r.
func convolve(to, from, p []float64) {
	floats.ScaleTo(to, p[0], from)
	for h := 1; h < len(p) && h < len(to); h++ {
		floats.AddScaled(to[h:], p[h], from[:len(from)-h])
	}
}

// convolveBack is convolve for distributions that run downwards, over totals r..0.
func convolveBack(to, from, p []float64) {
	floats.ScaleTo(to, p[0], from)
	for h := 1; h < len(p) && h < len(to); h++ {
		floats.AddScaled(to[:len(to)-h], p[h], from[h:])
	}
}

// meet is the probability that two totals add up to t: a runs over 0..r, back over r..0.
func meet(a, back []float64, t int) float64 {
	if t < 0 {
		return 0
	}
	return floats.Dot(a[:t+1], back[len(back)-t-1:])
}

func (s *sums) add(g *group, want detail) {
	s.resize(g)
	lognorm := s.tilt(g)
	n, r := len(g.columns), g.total
	clear(s.forward[0])
	clear(s.backward[n])
	s.forward[0][0], s.backward[n][r] = 1, 1
	for k := range n {
		convolve(s.forward[k+1], s.forward[k], s.p[k])
	}
	for k := n - 1; k >= 0; k-- {
		convolveBack(s.backward[k], s.backward[k+1], s.p[k])
	}
	all := s.forward[n][r]
	s.value -= g.persons * (math.Log(all) + lognorm - g.theta*float64(r))
	for k, i := range g.columns {
		for h, p := range s.p[k] {
			m := p * meet(s.forward[k], s.backward[k+1], r-h) / all
			s.marginal[k][h] = m
			if h > 0 {
				s.slope[s.c.first[i]+h-1] += g.persons * m
			}
		}
	}
	switch want {
	case exact:
		s.exactInformation(g, all)
	case approximate:
		s.roughInformation(g)
	}
}

func (s *sums) put(a, b int, v float64) { s.information[a*s.c.betas+b] += v }

// within adds the covariance of the categories of one column, with probabilities p.
func (s *sums) within(i int, p []float64, persons float64) {
	first := s.c.first[i]
	for h := 1; h < len(p); h++ {
		s.put(first+h-1, first+h-1, persons*p[h]*(1-p[h]))
		for l := h + 1; l < len(p); l++ {
			s.put(first+h-1, first+l-1, -persons*p[h]*p[l])
		}
	}
}

// exactInformation adds the covariance of the responses given the total.
func (s *sums) exactInformation(g *group, all float64) {
	n, r := len(g.columns), g.total
	for k, i := range g.columns {
		s.within(i, s.marginal[k], g.persons)
		copy(s.rest, s.forward[k]) // all columns before the second but the first
		for q := k + 1; q < n; q++ {
			j := g.columns[q]
			s.across(k, q, i, j, g, all, r)
			if q+1 < n {
				convolve(s.mid, s.rest, s.p[q])
				s.rest, s.mid = s.mid, s.rest
			}
		}
	}
}

// across adds the covariance between two columns, places k and q in the group.
func (s *sums) across(k, q, i, j int, g *group, all float64, r int) {
	pi, pj := s.p[k], s.p[q]
	for both := 2; both <= len(pi)+len(pj)-2; both++ {
		others := meet(s.rest, s.backward[q+1], r-both) / all
		for h := max(1, both-len(pj)+1); h < len(pi) && h < both; h++ {
			l := both - h
			v := pi[h]*pj[l]*others - s.marginal[k][h]*s.marginal[q][l]
			s.put(s.c.first[i]+h-1, s.c.first[j]+l-1, g.persons*v)
		}
	}
}

// roughInformation adds the covariance of the responses less its regression on the total: the
// conditional covariance but for terms of the order of one over the number of columns. It is good
// enough to steer by, and far cheaper.
func (s *sums) roughInformation(g *group) {
	type entry struct {
		at int
		v  float64
	}
	var with []entry // covariance with the total
	spread := 0.0
	for k, i := range g.columns {
		p := s.p[k]
		s.within(i, p, g.persons)
		mean := 0.0
		for h, v := range p {
			mean += float64(h) * v
		}
		for h := 1; h < len(p); h++ {
			with = append(with, entry{s.c.first[i] + h - 1, p[h] * (float64(h) - mean)})
			spread += float64(h) * p[h] * (float64(h) - mean)
		}
	}
	for a, x := range with {
		by := g.persons * x.v / spread
		row := s.information[x.at*s.c.betas:]
		for _, y := range with[a:] {
			row[y.at] -= by * y.v
		}
	}
}
