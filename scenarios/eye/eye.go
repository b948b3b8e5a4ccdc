package eye

import (
	"math"
	"slices"
)

// Eye is the state of one model eye. It is not safe for concurrent use; clones are
// independent of each other.
type Eye struct {
	par  *Params
	spec Spec
	bag  *bag

	ticks, nextSample, nextLook, nextBag int64   // of 2 ms
	carry                                float64 // s asked for and not yet a whole tick

	// Fluids.
	fl            fluid
	x, p, q       float64 // uL, mmHg, uL/s; see fluid
	pa, pv, depth float64 // mmHg, mmHg, mm at the present x and U
	phi, qa, ql   float64 // share of viscoelastic; flows out by port and leak, uL/s
	occl          float64 // lens matter in the port, 0..1
	vo, rho       float64 // viscoelastic, uL, and its retention
	injecting     float64 // hand pressure limit while injecting, mmHg; 0 is not
	injectRate    float64 // uL/s
	ri            float64 // of the irrigation, mmHg s/uL
	injectWater   bool
	injectLeft    float64 // uL
	set           settings
	calm          int // quiet short steps in a row
	dPLow, dPHigh float64

	// Vitreous.
	vp, vcut, vout float64 // uL
	strand, wound  float64 // e and w_i, 0..1
	traction       float64 // mN s
	hyaloid        bool    // breached
	breachP        float64
	gap            float64 // mm2, of the bag alone

	// Nucleus, energy, endothelium, capsule.
	lens                  float64 // uL
	pieces                [maxFragments]piece
	count                 int     // of pieces
	hardness              float64 // power-seconds per uL
	closeShort, closeLong float64 // share of the port that closes in a short or a long step
	taken                 int
	cortex                [12]bool
	cortexPull            float64 // mN of the last strip
	adhesion              float64
	cde, endo             float64
	woundTemp, burn       float64
	capHazard, rentAt     float64
	rent                  bool
	lost                  bool // support
	leftWithout           bool

	// Beyond the ordinary eye; nothing of it moves while awake is false.
	awake     bool
	iris      iris
	behind    behind
	stray     float64 // uL/s of irrigation going behind the bag now
	flap, air float64 // see membrane.go
	gapOVD    float64 // how far viscoelastic put at the gap fills it, 0..1
	imp       implant
	segments  int

	// Counters.
	brokenAtReset             int
	peak                      float64
	lowDepth, highIOP, lowIOP float64
	shallow, hard             float64
	frags, hand               stream
	watch                     watch
	rec                       *Result
	traceEvery, traceNext     float64
	traceTo                   func(t float64, m Measures)
}

// piece is a loose fragment of nucleus.
type piece struct {
	hour, vol, approach, bite float64
	occluding, captured       bool
}

// New makes the eye of a specification and a seed, with the default parameters. The
// error says what in the specification is impossible.
func New(spec Spec, seed uint64) (*Eye, error) { return newEye(spec, seed, defaultShape) }

// NewWith makes an eye with other parameters, for studies.
func NewWith(spec Spec, seed uint64, par Params) (*Eye, error) {
	if err := par.Check(); err != nil {
		return nil, err
	}
	return newEye(spec, seed, newShape(par))
}

var defaultShape = newShape(DefaultParams())

func newEye(spec Spec, seed uint64, sh *shape) (*Eye, error) {
	if err := spec.Check(); err != nil {
		return nil, err
	}
	spec = spec.withDefaults()
	spec.Fragments = append([]Fragment(nil), spec.Fragments...)
	spec.Cortex = slices.Clone(spec.Cortex) // an empty list stays an empty list: no cortex
	e := &Eye{par: &sh.par, spec: spec, bag: sh.newBag(), lens: spec.LensUL, adhesion: spec.Adhesion, woundTemp: sh.par.WoundBase,
		rho: sh.par.Dispersive, set: startSettings(), frags: newStream(seed, "fragment"), hand: newStream(seed, "hand")}
	e.hardness = e.par.EnergyPerUL * math.Pow(1.45, spec.Grade-3)
	e.closeShort, e.closeLong = -math.Expm1(-tick/e.par.TauPort), -math.Expm1(-longTicks*tick/e.par.TauPort)
	e.drawStrengths(seed)
	e.bag.lens = e.lens / fullLensUL
	e.bag.open(spec.DialysisHours, spec.DialysisAt, spec.Edge)
	for _, f := range spec.Fragments {
		e.pieces[e.count] = piece{hour: f.Hour, vol: f.UL}
		e.count++
	}
	e.setCortex(spec.Cortex)
	e.hyaloid = spec.HyaloidBreached
	e.fl.globe = newGlobe(e.par, e.par.PExt, e.bag.diaphragm())
	e.vp, e.strand = spec.VitreousUL, spec.Strand
	e.fl.u, e.x = spec.VitreousUL, spec.VitreousUL
	e.bearBeyond(seed)
	e.prepare()
	e.settle()
	e.watch.start(e)
	e.checkBag()
	e.ResetCounters()
	return e, nil
}

func (e *Eye) drawStrengths(seed uint64) {
	z := newStream(seed, "zonule")
	for i := range e.bag.strength {
		e.bag.kf[i] = e.spec.Stiffness
		e.bag.strength[i] *= e.spec.Strength * z.weibull(e.spec.Weibull)
	}
	h := newStream(seed, "hazard")
	e.rentAt = -math.Log(h.uniform())
	e.breachP = h.lognormal(e.par.BreachP, e.par.BreachSig)
}

func (e *Eye) setCortex(sectors []int) {
	for i := range e.cortex {
		e.cortex[i] = sectors == nil
	}
	for _, s := range sectors {
		e.cortex[s] = true
	}
}

// Clone copies the eye deeply, so that a branch can be explored. The copy has no
// recorder.
func (e *Eye) Clone() *Eye {
	c := *e
	c.bag = e.bag.clone()
	c.rec, c.traceTo = nil, nil
	return &c
}

// Time is the eye's own time in seconds since New.
func (e *Eye) Time() float64 { return float64(e.ticks) * tick }

// Present puts gel forward, for an opening in which it has come: the hyaloid face is
// breached, ul of vitreous are in the chamber (0..100) and a strand is engaged in the
// port (0..1). Values out of range are brought into it.
func (e *Eye) Present(ul, strand float64) {
	ul = min(max(ul, 0), 100)
	e.hyaloid = true
	e.vp += ul
	e.fl.u += ul
	e.x += ul
	e.strand = max(e.strand, min(max(strand, 0), 1))
	e.calm = 0
	e.settle()
}

// ResetCounters restarts what is counted since the opening: new dialysis, peak load,
// lowest depth, pressure extremes, and seconds spent shallow or hard. Doses (traction,
// energy, endothelium) go on.
func (e *Eye) ResetCounters() {
	e.brokenAtReset = e.bag.broken
	e.peak, e.shallow, e.hard = 0, 0, 0
	e.lowDepth, e.highIOP, e.lowIOP = e.depth, e.pa, e.pa
}

// Trace sets a recorder that is called at least every so many seconds of eye time
// with the measures then; nil stops it.
func (e *Eye) Trace(every float64, f func(t float64, m Measures)) {
	e.traceEvery, e.traceTo, e.traceNext = every, f, e.Time()
}

// settle brings pressures and depth up to date with the volumes.
func (e *Eye) settle() {
	e.pa = e.fl.chamber(e.x, e.fl.u)
	e.pv = e.fl.vitreous(e.x, e.fl.u)
	e.depth = e.par.depthOf(e.x)
}
