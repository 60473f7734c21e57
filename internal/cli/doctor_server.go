package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"
	"time"

	pb "jointledger/proto/jointledger/v1"
)

// The distance of this device's clock from the server's from which on it is said: a
// record that seems to come from time to come, or hours late, is found by the rule
// `clock` (see trackctl rules). Common practice, no source.
const (
	clockLook  = 30 * time.Second
	clockWrong = 5 * time.Minute
)

func (a *app) checkSettings(wrong error) deviceCheck {
	c := deviceCheck{name: "settings", state: checkOK}
	var f *failure
	switch {
	case errors.As(wrong, &f):
		c.state, c.message = checkWrong, f.message
		for _, l := range f.lines {
			c.message += "; " + l
		}
		c.remedy = "mend the file, or write it anew with trackctl setup"
		return c
	case wrong != nil:
		c.state, c.message = checkWrong, wrong.Error()
		return c
	}
	c.message = "no settings file"
	if a.fromFile != nil && a.fromFile.path != "" {
		if _, err := os.Stat(a.fromFile.path); err == nil {
			c.message = a.fromFile.path
		}
	}
	named := a.settings.person
	if h, err := a.inHand(); err == nil && named == "" {
		named = h["person"].Value
	}
	if named == "" {
		c.state, c.message, c.remedy = checkLook, c.message+"; nobody is named who reports", "name yourself with trackctl setup, or for the shift with trackctl at --person"
	}
	return c
}

// checkServer looks at the server and all that only it can tell.
func (a *app) checkServer(ctx context.Context) []deviceCheck {
	token, line := a.checkTokenFile(), a.checkLine(ctx)
	server := deviceCheck{name: "server", state: checkOK}
	if token.state == checkWrong {
		// Without the token file nothing can be asked as it will be asked later.
		server.state, server.message, server.remedy = checkLook, "not asked, since the token can't be read", ""
		return []deviceCheck{server, line, token}
	}
	r, err := a.reach(ctx)
	if err != nil {
		server.state, server.message = checkWrong, err.Error()
		server.remedy = "is the network there, and trackerd running? entries are kept on this device meanwhile where the site is carried"
		return []deviceCheck{server, line, token}
	}
	server.message = fmt.Sprintf("%s answered in %d ms", a.settings.server, r.latency.Milliseconds())
	return append([]deviceCheck{server}, a.checkAnswer(r, line, token)...)
}

// checkAnswer reads what a server told of itself.
func (a *app) checkAnswer(r reached, line, token deviceCheck) []deviceCheck {
	version := deviceCheck{name: "version", state: checkOK}
	switch {
	case r.wantsToken:
		token.state = checkWrong
		if a.settings.tokenFile == "" {
			token.message, token.remedy = "the server asks for a token and none is named", "ask whoever runs the server for it, then run trackctl setup"
		} else {
			token.message, token.remedy = "the server does not accept the token in "+a.settings.tokenFile+": "+r.why, "ask whoever runs the server for a new one, then run trackctl setup; entries that wait stay here until then"
		}
		return []deviceCheck{line, token}
	case r.denied:
		token.state, token.message, token.remedy = checkWrong, "the server knows who this is, and lets it do nothing: "+r.why, "ask whoever runs the server for a role; entries that wait stay here until then"
		return []deviceCheck{line, token}
	case r.old:
		version.state, version.message = checkWrong, "the server does not say which API it speaks: it is older than this trackctl, or not trackerd"
		version.remedy = "have trackerd brought up to date, or name another server"
		return []deviceCheck{version, line, token}
	}
	sentence, understood, same := compatibility(r.server)
	version.message = fmt.Sprintf("trackctl %s, trackerd %s on %s; %s", versionText(), r.server.GetVersion(), r.server.GetEngine(), sentence)
	switch {
	case !understood:
		version.state, version.remedy = checkWrong, "bring the older of the two up to date"
	case !same:
		version.state, version.remedy = checkLook, "bring the older of the two up to date when you can"
	}
	if r.server.GetTokenRequired() {
		token.message += "; the server accepts this device as " + callerWords(r.server)
	} else if a.settings.tokenFile != "" {
		token.message += "; the server asks for none"
	}
	return []deviceCheck{version, line, token, checkClock(r)}
}

// callerWords says whom a server takes the caller for, and what that one may do.
func callerWords(s *pb.Server) string {
	if s.GetPrincipal() == "" {
		return "one of its callers" // an older server does not say
	}
	var roles []string
	for _, g := range s.GetGrants() {
		where := "everywhere"
		if !g.GetEverywhere() {
			where = "at no site yet"
			if n := len(g.GetSites()); n > 0 {
				shown := g.GetSites()[:min(n, 5)]
				where = "at " + strings.ReplaceAll(strings.Join(shown, ", "), "sites/", "")
				if more := n - len(shown); more > 0 {
					where += fmt.Sprintf(" and %d more", more)
				}
			}
		}
		roles = append(roles, g.GetRole()+" "+where)
	}
	return fmt.Sprintf("%s (%s)", s.GetPrincipal(), strings.Join(roles, "; "))
}

// checkClock compares the clock of this device with the server's.
func checkClock(r reached) deviceCheck {
	c := deviceCheck{name: "clock", state: checkOK}
	off := r.middle.Sub(r.server.GetServerTime().AsTime())
	distance, word := off.Abs(), "ahead of"
	if off < 0 {
		word = "behind"
	}
	// The call took time in either direction; within it nothing can be said.
	if distance <= max(time.Second, r.latency) {
		c.message = "agrees with the server's"
		return c
	}
	c.message = fmt.Sprintf("%s %s the server's", distance.Round(time.Second), word)
	switch {
	case distance > clockWrong:
		c.state, c.remedy = checkWrong, "set the clock of this device: the times of entries are read from it"
	case distance > clockLook:
		c.state, c.remedy = checkLook, "set the clock of this device soon"
	}
	return c
}

// checkTokenFile looks at the file with the token, not at the token.
func (a *app) checkTokenFile() deviceCheck {
	c := deviceCheck{name: "token", state: checkOK}
	if a.settings.tokenFile == "" {
		c.message = "no token file is named"
		return c
	}
	if _, err := a.settings.token(); err != nil {
		c.state, c.message, c.remedy = checkWrong, err.Error(), "name the right file with --token-file, or run trackctl setup"
		return c
	}
	c.message = a.settings.tokenFile
	info, err := os.Stat(a.settings.tokenFile)
	// Windows keeps the rights of a file elsewhere.
	if err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		c.state = checkLook
		c.message += fmt.Sprintf(" can be read by others (mode %04o)", info.Mode().Perm())
		c.remedy = "chmod 600 " + a.settings.tokenFile
	}
	return c
}
