package identity_test

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/go-jose/go-jose/v4/jwt"
	"google.golang.org/grpc/codes"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// issuer is one of OpenID Connect: it describes itself, publishes its keys, and signs.
type issuer struct {
	*httptest.Server
	mu    sync.Mutex
	keys  []jose.JSONWebKey
	asked atomic.Int64
	down  atomic.Bool
}

func startIssuer(t *testing.T) *issuer {
	t.Helper()
	i := &issuer{}
	pages := http.NewServeMux()
	pages.HandleFunc("GET /.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		i.answer(w, map[string]any{"issuer": i.URL, "jwks_uri": i.URL + "/keys", "authorization_endpoint": i.URL + "/authorize", "token_endpoint": i.URL + "/token",
			"subject_types_supported": []string{"public"}, "response_types_supported": []string{"code"}, "id_token_signing_alg_values_supported": []string{"RS256", "ES256", "HS256", "none"}})
	})
	pages.HandleFunc("GET /keys", func(w http.ResponseWriter, _ *http.Request) {
		i.asked.Add(1)
		i.mu.Lock()
		defer i.mu.Unlock()
		var public jose.JSONWebKeySet
		for _, k := range i.keys {
			public.Keys = append(public.Keys, k.Public())
		}
		i.answer(w, public)
	})
	i.Server = httptest.NewTLSServer(pages)
	t.Cleanup(i.Close)
	return i
}

func (i *issuer) answer(w http.ResponseWriter, v any) {
	if i.down.Load() {
		http.Error(w, "down for a moment", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v) //nolint:errchkjson // the client will say
}

// rotate publishes a new key instead of all others, or beside them.
func (i *issuer) rotate(t *testing.T, id string, key crypto.Signer, beside bool) {
	t.Helper()
	algorithm := string(jose.ES256)
	if _, ok := key.(*rsa.PrivateKey); ok {
		algorithm = string(jose.RS256)
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	if !beside {
		i.keys = nil
	}
	i.keys = append(i.keys, jose.JSONWebKey{Key: key, KeyID: id, Algorithm: algorithm, Use: "sig"})
}

func (i *issuer) config(t *testing.T, claim string) identity.Issuer {
	t.Helper()
	file := filepath.Join(t.TempDir(), "issuer.pem")
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: i.Certificate().Raw})
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return identity.Issuer{URL: i.URL, Audience: "jointledger", Claim: claim, CAFile: file}
}

// sign makes a token of claims with a key.
func sign(t *testing.T, algorithm jose.SignatureAlgorithm, key any, id string, claims map[string]any) string {
	t.Helper()
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: algorithm, Key: jose.JSONWebKey{Key: key, KeyID: id}}, (&jose.SignerOptions{}).WithType("JWT"))
	if err != nil {
		t.Fatal(err)
	}
	token, err := jwt.Signed(signer).Claims(claims).Serialize()
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func rsaKey(t *testing.T) *rsa.PrivateKey {
	t.Helper()
	k, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func ecKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestIssuedTokens(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		i, foreign := startIssuer(t), startIssuer(t)
		first, second, strange := rsaKey(t), ecKey(t), rsaKey(t)
		i.rotate(t, "one", first, false)
		foreign.rotate(t, "one", strange, false)
		f := start(t, e, identity.Config{Issuer: i.config(t, "")}, nil)
		f.register(t, "nd1", everywhere(access.Technician))
		id := f.accept(t, "nd1", store.IssuedSubject, identity.Subject(i.URL, "248289761001"))
		own, _ := f.issue(t, "nd1", time.Time{})

		now := f.clock.now()
		claims := func(changes map[string]any) map[string]any {
			c := map[string]any{"iss": i.URL, "aud": []string{"other", "jointledger"}, "sub": "248289761001", "exp": now.Add(time.Hour).Unix(), "iat": now.Unix()}
			maps.Copy(c, changes)
			return c
		}
		sound := sign(t, jose.RS256, first, "one", claims(nil))
		f.wantWho(t, sound, "nd1")
		f.wantWho(t, sign(t, jose.RS256, first, "", claims(nil)), "nd1") // a token need not name its key
		f.wantWho(t, own, "nd1")

		const untaken = "must be signed by the issuer " // and so on
		part := func(v any) string {
			text, err := json.Marshal(v)
			if err != nil {
				t.Fatal(err)
			}
			return base64.RawURLEncoding.EncodeToString(text)
		}
		public, err := json.Marshal(first.Public())
		if err != nil {
			t.Fatal(err)
		}
		parts := strings.Split(sound, ".")
		bad := map[string]struct{ token, says string }{
			"expired":                  {sign(t, jose.RS256, first, "one", claims(map[string]any{"exp": now.Add(-time.Minute).Unix()})), "has expired"},
			"without an end":           {sign(t, jose.RS256, first, "one", claims(map[string]any{"exp": nil})), untaken},
			"not yet":                  {sign(t, jose.RS256, first, "one", claims(map[string]any{"nbf": now.Add(time.Hour).Unix()})), untaken},
			"for another audience":     {sign(t, jose.RS256, first, "one", claims(map[string]any{"aud": "other"})), untaken},
			"for no audience":          {sign(t, jose.RS256, first, "one", claims(map[string]any{"aud": nil})), untaken},
			"of a foreign issuer":      {sign(t, jose.RS256, strange, "one", claims(map[string]any{"iss": foreign.URL})), untaken},
			"foreign, in our name":     {sign(t, jose.RS256, strange, "one", claims(nil)), untaken},
			"our key, foreign name":    {sign(t, jose.RS256, first, "one", claims(map[string]any{"iss": foreign.URL})), untaken},
			"algorithm none":           {part(map[string]string{"alg": "none"}) + "." + parts[1] + ".", untaken},
			"none with a signature":    {part(map[string]string{"alg": "none", "kid": "one"}) + "." + parts[1] + "." + parts[2], untaken},
			"public key as a secret":   {sign(t, jose.HS256, public, "one", claims(nil)), untaken},
			"another algorithm":        {sign(t, jose.PS256, first, "one", claims(nil)), untaken},
			"changed claims":           {parts[0] + "." + part(claims(map[string]any{"sub": "admin"})) + "." + parts[2], untaken},
			"no JSON":                  {"a.b.c", untaken},
			"only dots":                {"..", untaken},
			"another subject":          {sign(t, jose.RS256, first, "one", claims(map[string]any{"sub": "' OR 1=1 --"})), "registered for no principal here"},
			"no subject":               {sign(t, jose.RS256, first, "one", claims(map[string]any{"sub": ""})), "has no claim sub"},
			"a subject that is a list": {sign(t, jose.RS256, first, "one", claims(map[string]any{"groups": 1, "sub": nil})), "has no claim sub"},
		}
		for name, b := range bad {
			t.Run(name, func(t *testing.T) { wantRefused(t, f.people, b.token, codes.Unauthenticated, b.says) })
		}

		// Keys are asked for no oftener than every two seconds, whatever is sent; a new one
		// is found after that, and one that was taken away counts no more.
		before := i.asked.Load()
		for range 50 {
			wantRefused(t, f.people, sign(t, jose.RS256, strange, "made-up", claims(nil)), codes.Unauthenticated, untaken)
		}
		if got := i.asked.Load() - before; got > 1 {
			t.Errorf("the issuer was asked for its keys %d times", got)
		}
		i.rotate(t, "two", second, true)
		f.clock.move(3 * time.Second)
		f.wantWho(t, sign(t, jose.ES256, second, "two", claims(nil)), "nd1")
		f.wantWho(t, sound, "nd1")
		third := ecKey(t)
		i.rotate(t, "three", third, false)
		f.clock.move(3 * time.Second)
		f.wantWho(t, sign(t, jose.ES256, third, "three", claims(nil)), "nd1")
		f.clock.move(3 * time.Second)
		wantRefused(t, f.people, sound, codes.Unauthenticated, untaken)

		// While the issuer is away, known keys and the server's own tokens go on.
		i.down.Store(true)
		f.clock.move(3 * time.Second)
		fourth := sign(t, jose.ES256, third, "three", claims(nil))
		f.wantWho(t, fourth, "nd1")
		f.wantWho(t, own, "nd1")
		wantRefused(t, f.people, sign(t, jose.ES256, ecKey(t), "four", claims(nil)), codes.Unavailable, "can't be asked for its keys now")

		f.revoke(t, id)
		wantRefused(t, f.people, fourth, codes.Unauthenticated, "(credential "+id+") was revoked on ")
		for name, b := range bad {
			if len(b.token) > 20 && strings.Contains(f.log.String(), b.token) {
				t.Errorf("the log holds the token %s", name)
			}
		}
		for _, token := range []string{sound, fourth, own} {
			if strings.Contains(f.log.String(), token[len(token)-20:]) {
				t.Error("the log holds the end of a token")
			}
		}
	})
}

// An issuer that does not answer when the server starts keeps nobody else out, and is
// found when it is there.
func TestIssuerThatComesLater(t *testing.T) {
	t.Parallel()
	i := startIssuer(t)
	key := ecKey(t)
	i.rotate(t, "one", key, false)
	i.down.Store(true)
	f := start(t, storetest.SQLite(), identity.Config{Issuer: i.config(t, "email")}, nil)
	f.register(t, "nd1", everywhere(access.Technician))
	f.accept(t, "nd1", store.IssuedSubject, identity.Subject(i.URL, "n@fell.example"))
	own, _ := f.issue(t, "nd1", time.Time{})
	claims := map[string]any{"iss": i.URL, "aud": "jointledger", "sub": "1", "email": "n@fell.example", "exp": f.clock.now().Add(time.Hour).Unix()}
	unverified := sign(t, jose.ES256, key, "one", claims)
	claims["email_verified"] = true
	verified := sign(t, jose.ES256, key, "one", claims)
	wantRefused(t, f.people, verified, codes.Unavailable, "can't be asked for its keys now")
	f.wantWho(t, own, "nd1")
	i.down.Store(false)
	f.clock.move(6 * time.Second)
	f.wantWho(t, verified, "nd1")
	wantRefused(t, f.people, unverified, codes.Unauthenticated, "an address that the issuer has not verified")
	wantRefused(t, f.people, verified+strings.Repeat("A", 17000), codes.Unauthenticated, "") // too long for the transport, or for us
}

func TestIssuerConfiguration(t *testing.T) {
	for _, c := range []struct {
		issuer identity.Issuer
		says   string
	}{
		{identity.Issuer{}, ""},
		{identity.Issuer{URL: "https://login.example", Audience: "x"}, ""},
		{identity.Issuer{URL: "http://127.0.0.1:8080/realm", Audience: "x"}, ""},
		{identity.Issuer{URL: "https://login.example"}, "both"},
		{identity.Issuer{Audience: "x"}, "both"},
		{identity.Issuer{Claim: "email"}, "both"},
		{identity.Issuer{URL: "http://login.example", Audience: "x"}, "no https URL"},
		{identity.Issuer{URL: "login.example", Audience: "x"}, "no https URL"},
		{identity.Issuer{URL: "https://", Audience: "x"}, "no https URL"},
		{identity.Issuer{URL: "https://nd1:pw@login.example", Audience: "x"}, "neither a user nor a query"},
		{identity.Issuer{URL: "https://login.example/?tenant=1", Audience: "x"}, "neither a user nor a query"},
	} {
		err := c.issuer.Check()
		if c.says == "" && err != nil || c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%+v: %v; expected %q", c.issuer, err, c.says)
		}
	}
	if _, err := identity.New(nil, identity.Config{Issuer: identity.Issuer{URL: "https://login.example", Audience: "x", CAFile: filepath.Join(t.TempDir(), "absent")}}); err == nil {
		t.Error("authorities that are not there were taken")
	}
}
