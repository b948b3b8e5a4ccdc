package eye
import "testing"
func TestZZ(t *testing.T) {
	for _, ov := range []bool{false, true} {
	e := mustNew(t, Spec{LensUL: 120}, 1)
	e.Apply(Action{"machine", nums{"bottle": 100}, nil})
	e.Apply(Action{"enter", nil, words{"instrument": "phaco-tip"}})
	e.Run(3)
	e.Apply(Action{"pedal", nums{"position": 0}, nil})
	t.Log(e.depth, e.pa, e.phi)
	if ov {
	r, _ := e.Apply(Action{"ovd", nil, nil})
	t.Log(r.End-r.Start, e.depth, e.pa, e.phi, r.Low[mDepth], r.Marks)
	} 
	e.Apply(Action{"withdraw", nil, nil})
	t.Log(e.depth, e.pa, e.phi, e.pv-e.pa)
	}
}
