package eye

import "math"

// shape is what all bags of one set of parameters share and nothing changes: the
// geometry of the ring of nodes, and the stiffness of the bag alone with and without a
// tension ring.
//
// Nodes stand clockwise from 12 o'clock. In the banded matrices they are ordered 0,
// N-1, 1, N-2, ... so that neighbours on the circle are near each other.
type shape struct {
	par      Params
	n        int
	ds       float64   // mm of rim per node
	sn, cs   []float64 // of the node's angle
	pos      []int     // place of a node in the banded order
	plane    [2]band   // in plane: bending and hoop; index 1 with a ring
	axial    [2]band
	healthy  float64 // mm of extra offset of a healthy full eye under 1 mN
	noSlack  bool    // for checks against closed forms: zonules carry compression too
	settings [2]stiff
}

type stiff struct{ ei, ea float64 }

func newShape(par Params) *shape {
	s := bareShape(par)
	b := s.newBag()
	b.lens = 1
	b.rest()
	s.healthy = b.sway()
	return s
}

func bareShape(par Params) *shape {
	n := par.N
	s := &shape{par: par, n: n, ds: par.R * 2 * math.Pi / float64(n), sn: make([]float64, n), cs: make([]float64, n), pos: make([]int, n)}
	for i := range n {
		s.sn[i], s.cs[i] = math.Sincos(2 * math.Pi * float64(i) / float64(n))
		if i < (n+1)/2 {
			s.pos[i] = 2 * i
		} else {
			s.pos[i] = 2*(n-1-i) + 1
		}
	}
	s.settings = [2]stiff{{par.EIBag, par.EABag}, {par.EIBag + par.EIRing, par.EABag + par.EARing}}
	for r, k := range s.settings {
		s.plane[r] = newBand(2*n, 9)
		s.axial[r] = newBand(n, 4)
		s.bendPlane(&s.plane[r], k)
		s.bendAxial(&s.axial[r], k.ei)
	}
	return s
}

// bendPlane adds bending and hoop energy. The trigonometric differences make rigid
// translation and rotation of the ring cost exactly nothing.
func (s *shape) bendPlane(m *band, k stiff) {
	d := 2 * math.Pi / float64(s.n)
	s2, tn := 2*(1-math.Cos(d)), 2*math.Tan(d/2)
	bend := [3]float64{1 / s2, 1 - 2/s2, 1 / s2}
	hoop := [4]float64{0.5, 0.5, -1 / tn, 1 / tn}
	r := s.par.R
	for i := range s.n {
		prev, next := (i+s.n-1)%s.n, (i+1)%s.n
		quadratic(m, s.ds*k.ei/(r*r*r*r), bend[:], []int{s.du(prev), s.du(i), s.du(next)})
		quadratic(m, s.ds*k.ea/(r*r), hoop[:], []int{s.du(i), s.du(next), s.dv(i), s.dv(next)})
	}
}

// bendAxial adds bending out of the plane, measured against the heave Z of the core.
func (s *shape) bendAxial(m *band, ei float64) {
	d := 2 * math.Pi / float64(s.n)
	s2 := 2 * (1 - math.Cos(d))
	bend := [3]float64{1 / s2, 1 - 2/s2, 1 / s2}
	c := s.ds * ei / math.Pow(s.par.R, 4)
	for i := range s.n {
		at := []int{s.pos[(i+s.n-1)%s.n], s.pos[i], s.pos[(i+1)%s.n]}
		quadratic(m, c, bend[:], at)
		for k, p := range at {
			m.bord[0][p] -= c * bend[k]
		}
		m.d[0][0] += c
	}
}

// quadratic adds the energy c/2 (sum coef x)^2.
func quadratic(m *band, c float64, coef []float64, at []int) {
	for a, i := range at {
		for b, j := range at[:a+1] {
			if i == j && a != b {
				m.add(i, j, 2*c*coef[a]*coef[b])
			} else {
				m.add(i, j, c*coef[a]*coef[b])
			}
		}
	}
}

// du and dv are the places of the radial and tangential unknowns of a node.
func (s *shape) du(i int) int { return 2 * s.pos[i] }
func (s *shape) dv(i int) int { return 2*s.pos[i] + 1 }

// node is the node at a clock hour.
func (s *shape) node(hour float64) int {
	return ((nearest(hour*float64(s.n)/12) % s.n) + s.n) % s.n
}

// hour is the clock hour of a node, from above 0 to 12.
func (s *shape) hour(node float64) float64 {
	h := math.Mod(node*12/float64(s.n), 12)
	if h <= 0 {
		h += 12
	}
	return h
}

// bag is the capsular bag on its zonules.
type bag struct {
	*shape
	alive    []bool
	kf       []float64 // stiffness factor
	strength []float64 // mN
	anchor   []float64 // mN/mm, hooks
	lens     float64   // share of a full nucleus, couples the core to the bag
	ring     bool
	implant  bool // in the bag
	haptic   int  // node of one haptic
	broken   int
	hooks    int

	// The bag at rest, valid while fresh.
	fresh      bool
	slack      []bool
	u, v       []float64 // mm, outward and clockwise
	w1         []float64 // mm forward per mmHg of chamber over vitreous pressure
	offX, offY float64   // mm
	tiltX      float64   // rad per mmHg
	tiltY      float64
	wobble     float64 // valid while swayed
	swayed     bool
	softest    int // node that moves most per mmHg
	// The last load asked for.
	peak  float64 // highest load over strength
	worst int     // its node
	load  float64 // largest load on a segment, mN

	ws *workspace // scratch, never shared with a clone
}

// workspace holds matrices and vectors of one bag; its content means nothing between
// calls except where restKept says that rest holds the factored bag at rest.
type workspace struct {
	restPlane, toolPlane band
	axial                band
	restKept             bool
	rhs                  []float64
	w                    []float64
	u, v                 []float64
	slack                []bool
	mostPasses           int // of any solve so far
}

func (s *shape) newBag() *bag {
	n := s.n
	b := &bag{shape: s, alive: make([]bool, n), kf: make([]float64, n), strength: make([]float64, n), anchor: make([]float64, n),
		slack: make([]bool, n), u: make([]float64, n), v: make([]float64, n), w1: make([]float64, n)}
	for i := range n {
		b.alive[i], b.kf[i], b.strength[i] = true, 1, s.par.S*s.ds
	}
	return b
}

// clone copies the bag; scratch is made anew when it is needed.
func (b *bag) clone() *bag {
	c := *b
	c.alive, c.slack = append([]bool(nil), b.alive...), append([]bool(nil), b.slack...)
	for _, f := range []*[]float64{&c.kf, &c.strength, &c.anchor, &c.u, &c.v, &c.w1} {
		*f = append([]float64(nil), *f...)
	}
	c.ws = nil
	return &c
}

func (b *bag) work() *workspace {
	if b.ws == nil {
		n := b.n
		b.ws = &workspace{restPlane: newBand(2*n, 9), toolPlane: newBand(2*n, 9), axial: newBand(n, 4),
			rhs: make([]float64, 2*n), w: make([]float64, n), u: make([]float64, n), v: make([]float64, n),
			slack: make([]bool, n)}
	}
	return b.ws
}

// changed says that stiffness or support changed: the rest state must be found again.
func (b *bag) changed() {
	b.fresh, b.swayed = false, false
	if b.ws != nil {
		b.ws.restKept = false
	}
}

// open removes hours of zonules centred on an hour, and weakens the two segments on
// each side by the edge factor.
func (b *bag) open(hours, centre, edge float64) {
	count := min(b.n, nearest(hours*float64(b.n)/12))
	if count <= 0 {
		return
	}
	start := nearest(centre*float64(b.n)/12 - float64(count-1)/2)
	at := func(i int) int { return ((i % b.n) + b.n) % b.n }
	for i := range count {
		b.snap(at(start + i))
	}
	for k := 1; k <= 2; k++ {
		for _, i := range []int{at(start - k), at(start + count - 1 + k)} {
			if b.alive[i] {
				b.strength[i] *= edge
			}
		}
	}
	b.changed()
}

func (b *bag) snap(i int) {
	if b.alive[i] {
		b.alive[i] = false
		b.slack[i] = false
		b.broken++
	}
}

// missing is the dialysis in clock hours.
func (b *bag) missing() float64 { return 12 * float64(b.broken) / float64(b.n) }

// longestGap gives the node in the middle of the longest broken arc and its span in
// hours; span 0 when nothing is broken.
func (b *bag) longestGap() (middle, hours float64) {
	if b.broken == 0 {
		return 0, 0
	}
	if b.broken == b.n {
		return 0, 12
	}
	best, bestStart := 0, 0
	for i := range b.n {
		if b.alive[i] || !b.alive[(i+b.n-1)%b.n] {
			continue
		}
		run := 0
		for !b.alive[(i+run)%b.n] {
			run++
		}
		if run > best {
			best, bestStart = run, i
		}
	}
	return float64(bestStart) + float64(best-1)/2, 12 * float64(best) / float64(b.n)
}

// diaphragm is the axial stiffness in mN/mm that gives the compliance between chamber
// and vitreous.
func (b *bag) diaphragm() float64 {
	sum, hooks := 0.0, 0.0
	for i, k := range b.kf {
		if b.alive[i] {
			sum += k
		}
		hooks += b.anchor[i]
	}
	return b.par.KIris + b.par.KZ*sum/float64(b.n) + b.par.AnchorAxial*hooks
}
