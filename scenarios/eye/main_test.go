package eye

import "testing"

const reference = "../../testdata/eye/"

func mustNew(t testing.TB, spec Spec, seed uint64) *Eye {
	t.Helper()
	e, err := New(spec, seed)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
