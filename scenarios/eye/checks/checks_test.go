package checks

import (
	"os"
	"strings"
	"testing"

	"zonule/scenarios/eye"
)

// Every row of checks.csv passes. The rows of area R name seeds 1..200, which ZONULE_LONG=1
// runs; by default the first 10 are run against the same share.
func TestTable(t *testing.T) {
	f, err := os.Open("../../../testdata/eye/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := Read(f)
	if err != nil {
		t.Fatal(err)
	}
	c := &Checker{MaxSeeds: 10, Workers: 2}
	if os.Getenv("ZONULE_LONG") != "" {
		c.MaxSeeds = 0
	}
	areas := map[string]int{}
	for _, r := range rows {
		v := c.Check(r)
		if !v.OK {
			t.Errorf("%s; basis: %s", v, r.Basis)
		}
		areas[r.Area]++
	}
	want := map[string]int{"U": 6, "P": 18, "F": 12, "S": 17, "O": 8, "B": 44, "H": 7, "V": 5, "N": 8, "G": 9, "D": 5, "R": 5}
	for area, n := range want {
		if areas[area] != n {
			t.Errorf("%d rows of area %s, want %d", areas[area], area, n)
		}
	}
}

const head = "id,area,quantity,inputs_json,expected,unit,tol_rel,tol_abs,kind,basis\n"

// A row that is wrong fails and says why: the evaluator does not pass what it does not know.
func TestWrongRowsFail(t *testing.T) {
	for _, c := range []struct{ row, says string }{
		{`X,U,hydrostatic pressure of a fluid column,"{""height_cm"":1}",0.7356,mmHg,1e-9,0,,`, "off by"},
		{`X,U,weight of the moon,{},1,,0,0,,`, "not known"},
		{`X,Q,anything,{},1,,0,0,,`, "no area"},
		{`X,G,first 64-bit draw of the stream (hex),"{""seed"":1,""stream"":""zonule""}",0x55decc15543e2e3e,,0,0,,`, "differs"},
		{`X,G,first uniform of the stream,"{""seed"":1,""stream"":""zonule""}",many,,0,0,,`, "no number"},
		{`X,D,the moon is round,{},holds,,0,0,,`, "not known"},
		{`X,D,raising the bottle never lowers steady IOP; raising flow never raises it,{},unequal,,0,0,,`, "expected to hold"},
		{`X,R,eye A: share of 1 paired seeds with harm index higher under P0 than under P1,"{""eye"":""A"",""policy"":""P0"",""seeds"":""1..1""}",>=50,%,0,0,,`, "not >= 50"},
		{`X,R,eye Z: share of 1 paired seeds with harm index higher under P1 than under P0,"{""eye"":""Z"",""policy"":""P1"",""seeds"":""1..1""}",>=50,%,0,0,,`, "no case"},
		{`X,R,eye A: share of 1 paired seeds with harm index higher under P1 than under P0,"{""eye"":""A"",""policy"":""P1""}",>=50,%,0,0,,`, "write 1..200"},
		{`X,S,script S1: colour,"{""bottle_cm"":100,""flow"":40,""vac"":400}",1,,0,0,,`, "not known"},
		{`X,H,"Hetenyi infinite beam: moment",{},1,,0,0,,`, "no number"},
	} {
		rows, err := Read(strings.NewReader(head + c.row))
		if err != nil {
			t.Fatalf("%s: %v", c.row, err)
		}
		if v := new(Checker).Check(rows[0]); v.OK || !strings.Contains(v.Why, c.says) {
			t.Errorf("%s: %v, %q; want %q", c.row, v.OK, v.Why, c.says)
		}
	}
}

func TestReadNamesWhatIsWrong(t *testing.T) {
	for _, c := range [][2]string{
		{"", "first line"}, {"id,area\n", `no column "quantity"`},
		{head + "X,U,q,{,1,,0,0,,\n", "line 2: X: the inputs"}, {head + "X,U,q,{},1,,wide,0,,\n", "tol_rel"},
	} {
		if _, err := Read(strings.NewReader(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%q: %v; want %q", c[0], err, c[1])
		}
	}
}

// Inputs are used, not passed over: another value gives another answer.
func TestInputsAreUsed(t *testing.T) {
	for _, c := range []struct {
		area, quantity, input string
		in                    eye.Inputs
		other                 any
	}{
		{"F", "steady IOP, unoccluded", "separate_irrigation", eye.Inputs{"bottle_cm": 100.0, "flow_mL_min": 40.0}, true},
		{"F", "steady IOP, unoccluded", "leak_mmHg_per_mL_min", eye.Inputs{"bottle_cm": 100.0, "flow_mL_min": 40.0}, 6.0},
		{"O", "open wound, no OVD: x(t)", "wound_R_mmHg_per_mL_min", eye.Inputs{"C_d": 19.0, "x0": 110.0, "t_s": 0.5}, 5.0},
		{"O", "OVD injection: V_o(t)", "inject_uL_s", eye.Inputs{"C_d": 13.0, "x0": 60.0, "V_lens": 120.0, "P_stop": 35.0, "t_s": 1.0}, 10.0},
		{"S", "isolated occlusion-break volume", "C_t", eye.Inputs{"P_eye": 70.0, "stored_vac": 400.0, "Kd": 102.0}, 0.3},
		{"H", "uniform heave of the diaphragm", "Kd", eye.Inputs{"dP_mmHg": 3.0}, 60.0},
		{"V", "traction force of a cutter", "e", eye.Inputs{"vac": 250.0, "cuts_per_min": 500.0}, 0.5},
	} {
		a, err := eye.Probe(c.area, c.quantity, c.in)
		if err != nil {
			t.Fatal(err)
		}
		c.in[c.input] = c.other
		if b, err := eye.Probe(c.area, c.quantity, c.in); err != nil || a == b {
			t.Errorf("%s with %s %v: %s, as before (%v)", c.quantity, c.input, c.other, b, err)
		}
	}
}
