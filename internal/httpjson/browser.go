package httpjson

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
)

// browser says which pages may call. There are no cookies, so a page of another origin
// has no credential of its reader's to abuse; but where none is asked for, it must be
// kept out.
type browser struct {
	origins   map[string]bool
	crossSite *http.CrossOriginProtection
}

// allow sets the origins whose pages may call.
func (b *browser) allow(origins []string) error {
	b.origins, b.crossSite = map[string]bool{}, http.NewCrossOriginProtection()
	for _, o := range origins {
		if u, err := url.Parse(o); err != nil || u.Scheme != "https" && u.Scheme != "http" || strings.Contains(u.Host, "*") {
			return fmt.Errorf("expected an origin such as https://board.example.com, got %q; a page from anywhere can't be allowed", o)
		}
		if err := b.crossSite.AddTrustedOrigin(o); err != nil {
			return fmt.Errorf("expected an origin such as https://board.example.com, got %q", o)
		}
		b.origins[o] = true
	}
	return nil
}

// What a page may send and read (Fetch standard, CORS protocol).
const (
	sentHeaders = "Authorization, Connect-Protocol-Version, Connect-Timeout-Ms, Content-Encoding, Content-Type, Jointledger-Max-Staleness, X-Request-Id"
	readHeaders = "Jointledger-As-Of, Retry-After, X-Request-Id"
)

// admit answers a browser's question whether a page may call, and refuses the call of a
// page that may not; done says that it has answered.
func (b *browser) admit(w http.ResponseWriter, r *http.Request) (done bool) {
	h, origin := w.Header(), r.Header.Get("Origin")
	h.Add("Vary", "Origin")
	if b.origins[origin] {
		h.Set("Access-Control-Allow-Origin", origin)
		h.Set("Access-Control-Expose-Headers", readHeaders)
		h.Set("Cross-Origin-Resource-Policy", "cross-origin")
	}
	if r.Method == http.MethodOptions {
		if b.origins[origin] {
			h.Set("Access-Control-Allow-Methods", "GET, POST")
			h.Set("Access-Control-Allow-Headers", sentHeaders)
			h.Set("Access-Control-Max-Age", "7200")
		}
		h.Set("Allow", "GET, HEAD, POST, OPTIONS")
		w.WriteHeader(http.StatusNoContent)
		return true
	}
	if err := b.crossSite.Check(r); err != nil {
		refuse(w, http.StatusForbidden, "permission_denied", "pages of this origin may not call; whoever runs the server can name it with --http-origin")
		return true
	}
	return false
}

// onThisMachine says whether a host, with or without a port, is this machine's own name
// of itself.
func onThisMachine(host string) bool {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.Trim(host, "[]"), ".")
	if strings.EqualFold(host, "localhost") {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.IsLoopback()
}
