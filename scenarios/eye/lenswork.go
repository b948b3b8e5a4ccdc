package eye

import "math"

// chop splits the nucleus: it is pushed away from the chopper's hour.
func (e *Eye) chop(a Action) {
	hour := e.hourOr(a, e.weakHour())
	force := map[string]float64{"gentle": 6, "normal": 12, "rough": 40}[a.word("force")] * e.handFactor()
	sn, cs := math.Sincos(2 * math.Pi * hour / 12)
	e.pass(0.5)
	e.tug(&tool{onCore: true, fx: -force * sn, fy: -force * cs, stop: a.num("stop")})
	e.pass(1)
	e.release()
	want := min(6, max(2, e.count+1))
	if n, ok := a.Num["pieces"]; ok {
		want = int(n)
	}
	e.split(want, hour)
	e.mark("chopped", piecesText(e.count))
}

// split divides the largest piece until there are so many. A nucleus in one piece
// comes apart across the hour of the chop.
func (e *Eye) split(want int, hour float64) {
	if e.count == 0 && want > 0 && e.lens > 0 {
		e.pieces[0] = piece{hour: hour, vol: e.lens}
		e.count = 1
	}
	for e.count < min(want, maxFragments) {
		big := 0
		for i := range e.count {
			if e.pieces[i].vol > e.pieces[big].vol {
				big = i
			}
		}
		half := e.pieces[big]
		half.vol /= 2
		apart := half.vol / max(1, e.lens) * 6 // hours between the middles of the halves
		half.occluding, half.approach, half.captured = false, 0, false
		e.pieces[big] = half
		e.pieces[big].hour = wrapHour(half.hour - apart)
		half.hour = wrapHour(half.hour + apart)
		e.pieces[e.count] = half
		e.count++
	}
}

func wrapHour(h float64) float64 {
	h = math.Mod(h, 12)
	if h <= 0 {
		h += 12
	}
	return h
}

// sculpt pushes the nucleus toward 6 o'clock and back, one stroke a second: the less
// power, the more push.
func (e *Eye) sculpt(strokes int) {
	was := e.set.pedal
	e.change(func(s *settings) { s.pedal = 3 })
	power := max(0.05, e.set.power)
	e.freePieces()
	for range strokes {
		push := 3 * math.Pow(1.35, e.spec.Grade-3) * math.Sqrt(0.6/power) * e.handFactor()
		e.pass(0.4)
		e.tug(&tool{onCore: true, fy: -push, stop: 2, fz: -0.6 * push, py: -2})
		e.pass(0.6)
		e.release()
		e.lens = max(0, e.lens-0.15*e.set.power*e.mode()/e.hardness)
		if e.lens < 5 {
			break
		}
	}
	e.couple()
	e.change(func(s *settings) { s.pedal = was })
	e.mark("sculpted", "")
}

// rotate turns the nucleus; adhesion to the capsule passes more of the torque on.
func (e *Eye) rotate(torque float64) {
	m := torque * (1 + 3*e.adhesion) * e.handFactor()
	e.pass(0.5)
	if m > 0 {
		e.tug(&tool{onCore: true, moment: m, turnStop: 0.6})
	}
	if e.spec.PolarWeak > 0 {
		e.strainCapsule(0.1 * torque * e.spec.PolarWeak)
	}
	e.pass(1.5)
	e.release()
	e.mark("rotated", "")
}

// take brings a piece to the front of those left.
func (e *Eye) take(index int) {
	f := e.pieces[index]
	copy(e.pieces[1:index+1], e.pieces[:index])
	e.freePieces()
	f.occluding, f.approach = false, 0
	e.pieces[0] = f
	e.pass(1)
	e.mark("fragment-chosen", "")
}
