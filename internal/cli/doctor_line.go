package cli

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"time"
)

// How long before its end a certificate is spoken of. Common practice, no source.
const certificateLook = 14 * 24 * time.Hour

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }

// checkLine says how the line to the server is secured, and how long it will be.
func (a *app) checkLine(ctx context.Context) deviceCheck {
	c := deviceCheck{name: "line", state: checkOK}
	server := a.settings.server
	if !a.settings.line.secured() {
		c.message = "no TLS: what passes can be read and changed on the way"
		host, _, err := net.SplitHostPort(server)
		if ip := net.ParseIP(host); err == nil && (host == "localhost" || ip != nil && ip.IsLoopback()) {
			c.message = "no TLS; it does not leave this machine"
			return c
		}
		c.state, c.remedy = checkLook, "set tls to true where the server has a certificate; else use it only within a network that you trust"
		return c
	}
	config, err := a.settings.line.config()
	if err != nil {
		c.state, c.message, c.remedy = checkWrong, err.Error(), "name the right file with --ca-file, --client-cert and --client-key"
		return c
	}
	ctx, cancel := context.WithTimeout(ctx, min(reachTime, a.settings.timeout))
	defer cancel()
	conn, err := (&tls.Dialer{Config: config}).DialContext(ctx, "tcp", server)
	if err != nil {
		c.state, c.message = checkWrong, lineProblem(server, err)
		if c.message == "" {
			c.state, c.message = checkLook, "TLS could not be tried: "+lastPart(err.Error())
		}
		return c
	}
	defer conn.Close() // nothing was sent
	secured, ok := conn.(*tls.Conn)
	if !ok || len(secured.ConnectionState().PeerCertificates) == 0 {
		c.state, c.message = checkWrong, "the server showed no certificate"
		return c
	}
	if problem := refusedAfter(ctx, secured, server); problem != "" {
		c.state, c.message, c.remedy = checkWrong, problem, "ask whoever runs the server which certificates it accepts"
		return c
	}
	state := secured.ConnectionState()
	shown := state.PeerCertificates[0]
	left := shown.NotAfter.Sub(a.now())
	c.message = fmt.Sprintf("%s; the certificate is for %s, by %s, verified, %d days left", tls.VersionName(state.Version), certificateNames(shown), issuerOf(shown), days(left))
	if left < certificateLook {
		c.state, c.remedy = checkLook, "have the server's certificate renewed by "+day(shown.NotAfter)
	}
	a.checkOwnCertificate(&c, config)
	return c
}

// refusedAfter says that the server refused the line after the client had taken it for
// secured, as TLS 1.3 refuses certificates of clients: a server that accepts speaks
// first. Empty when nothing was refused.
func refusedAfter(ctx context.Context, conn *tls.Conn, server string) string {
	if until, ok := ctx.Deadline(); ok && conn.SetReadDeadline(until) != nil {
		return ""
	}
	_, err := conn.Read(make([]byte, 1))
	return lineProblem(server, err)
}

// checkOwnCertificate adds what is to be said of this device's certificate.
func (a *app) checkOwnCertificate(c *deviceCheck, config *tls.Config) {
	if len(config.Certificates) == 0 {
		return
	}
	own := config.Certificates[0].Leaf
	left := own.NotAfter.Sub(a.now())
	switch {
	case left <= 0:
		c.state, c.remedy = checkWrong, "have this device's certificate renewed"
		c.message += "; this device's own ran out on " + day(own.NotAfter)
	case left < certificateLook:
		if c.state == checkOK {
			c.state, c.remedy = checkLook, "have this device's certificate renewed by "+day(own.NotAfter)
		}
		fallthrough
	default:
		c.message += fmt.Sprintf("; this device's own is for %s, %d days left", orWord(own.Subject.CommonName, certificateNames(own)), days(left))
	}
}

func days(d time.Duration) int { return int(d.Hours() / 24) }

func issuerOf(c *x509.Certificate) string {
	return orWord(c.Issuer.CommonName, orWord(c.Issuer.String(), "an authority without a name"))
}
