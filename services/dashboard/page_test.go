package dashboard

import (
	"net/http"
	"net/http/httptest"
	"testing"
)

func get(t testing.TB, p *Pages, address string, header ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, address, nil)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	p.ServeHTTP(w, r)
	return w
}

func TestEveryPagePrints(t *testing.T) {
	p := newPages(t, invented(), newFakeFeed())
	for _, address := range []string{"/", "/trainees/t-001", "/trainees/t-001?c=C3", "/trainees/t-003", "/trainees/t-006", "/drills/t-001-d24", "/drills/t-001-d25", "/drills/t-001-x01"} {
		if w := get(t, p, address); w.Code != http.StatusOK {
			t.Errorf("%s: %d\n%s", address, w.Code, w.Body)
		}
	}
}
