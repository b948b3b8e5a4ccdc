package dashboard

import (
	"net/http"
	"runtime/debug"
)

// policy allows our own files and nothing else: no inline script or style, no other host, no frame, no form.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard sets the headers every answer has, refuses every method but GET and HEAD, and turns a panic into a page.
func (p *Pages) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		h.Set("Cache-Control", "no-store")
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			h.Set("Allow", "GET, HEAD")
			p.fail(w, r, errReadOnly)
			return
		}
		defer func() {
			if reason := recover(); reason != nil {
				if reason == http.ErrAbortHandler {
					panic(reason)
				}
				p.Log.Error("a page panicked", "path", r.URL.Path, "panic", reason, "stack", string(debug.Stack()))
				p.fail(w, r, errBroken)
			}
		}()
		next.ServeHTTP(w, r)
	})
}
