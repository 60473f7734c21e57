package main

import (
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// fate is what writers were told of one record, or of one attachment.
type fate struct {
	// taken is how often a server said that it keeps it just now.
	taken int
	// acknowledged says that it is kept; unknown that a reply to it was lost; refused that
	// a server said plainly that nothing of it was kept.
	acknowledged, unknown, refused bool
	// fasteners is what it adds to the attempts; corrects is the record that it withdraws.
	fasteners int32
	corrects  string
}

// answers is all that the writers of one database were told.
type answers struct {
	mu      sync.Mutex
	records map[string]*fate
	files   map[string]*fate
	// besides are tightenings of one fastener each that others sent, and that are kept.
	besides map[string]bool
	// refusals counts the sentences with which servers refused, and codes the codes.
	refusals map[string]int
	codes    map[codes.Code]int
	problems problems

	// calls are those that were answered with what became of the records.
	calls, unknownReplies atomic.Int64
}

func newAnswers() *answers {
	return &answers{records: map[string]*fate{}, files: map[string]*fate{}, refusals: map[string]int{}, codes: map[codes.Code]int{}}
}

// fates gives those of the call's members; the caller holds the lock.
func (a *answers) fates(c *call) []*fate {
	at := func(in map[string]*fate, name string) *fate {
		if in[name] == nil {
			in[name] = &fate{}
		}
		return in[name]
	}
	if c.file != nil {
		return []*fate{at(a.files, c.file.key())}
	}
	var all []*fate
	for _, name := range c.names() {
		all = append(all, at(a.records, name))
	}
	for i, r := range c.tightenings {
		all[i].fasteners = r.Fasteners
	}
	if c.incident != nil { // galling: a thread failure is an attempt (analysis.proto)
		all[0].fasteners = c.incident.Fasteners
	}
	if c.correction != nil {
		all[0].corrects = c.correction.Corrects
		if r := c.correction.GetTightening(); r != nil {
			all[1].fasteners = r.Fasteners
		}
	}
	return all
}

// take notes the answer to a call.
func (a *answers) take(c *call, outcomes []*pb.Outcome) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.calls.Add(1)
	all := a.fates(c)
	if c.file != nil {
		all[0].acknowledged = true // whether it was kept before is not said
		return
	}
	if len(outcomes) != len(all) {
		a.problems.add("a call with %d records was answered with %d outcomes", len(all), len(outcomes))
		return
	}
	for i, f := range all {
		name := c.names()[i]
		switch outcomes[i].State {
		case pb.Outcome_STATE_TAKEN:
			if f.acknowledged {
				a.problems.add("%s was acknowledged, and later taken as if it were new", name)
			}
			f.taken++
		case pb.Outcome_STATE_ALREADY_KNOWN:
			if f.refused && !f.unknown {
				a.problems.add("%s was refused with the word that nothing of it was kept, and is kept", name)
			}
		default:
			a.problems.add("%s was refused: %v", name, outcomes[i].Refusal)
			return
		}
		f.acknowledged = true
	}
}

// plainRefusals are what a server says where it knows that nothing was kept
// (docs/operating.md, "When something is wrong").
var plainRefusals = []string{
	"the database can't be used now (the disk is full); try again",
	"the database can't be used now (the data folder is read-only); try again",
}

// fail notes that a call was answered with an error, and says whether it may be sent
// again. What is neither a refusal nor a lost reply is a problem.
func (a *answers) fail(c *call, err error) (again bool) {
	st := status.Convert(err)
	fromServer := false
	for _, d := range st.Details() {
		_, info := d.(*errdetails.ErrorInfo)
		fromServer = fromServer || info
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	switch st.Code() {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Aborted, codes.ResourceExhausted, codes.Canceled:
	default:
		a.problems.add("a call was answered with %v", err)
		return false
	}
	plain := false
	for _, sentence := range plainRefusals {
		plain = plain || fromServer && st.Message() == sentence
	}
	for _, f := range a.fates(c) {
		f.refused = f.refused || plain
		f.unknown = f.unknown || !plain
	}
	if fromServer {
		a.refusals[st.Message()]++
		a.codes[st.Code()]++
	}
	if !plain {
		a.unknownReplies.Add(1)
	}
	return true
}

// refusedWith gives how many calls were refused with a sentence.
func (a *answers) refusedWith(sentence string) int {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.refusals[sentence]
}

// allRefusals gives each sentence with which calls were refused, and how often.
func (a *answers) allRefusals() map[string]int {
	a.mu.Lock()
	defer a.mu.Unlock()
	return maps.Clone(a.refusals)
}

// onlyThese notes as a problem each sentence of a server's that is none of the given, and
// each code but UNAVAILABLE, which is the one that has a client send again.
func (a *answers) onlyThese(of string, sentences []string, l *line) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for said, times := range a.refusals {
		if !slices.Contains(sentences, said) {
			l.problems.add("of %s a server said %d times: %s", of, times, said)
		}
	}
	for code, times := range a.codes {
		if code != codes.Unavailable {
			l.problems.add("of %s a server said %d times %s; expected %s", of, times, code, codes.Unavailable)
		}
	}
	l.Checks++
}

// refused gives how many calls were answered with a server's refusal.
func (a *answers) refused() (n int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, times := range a.refusals {
		n += times
	}
	return n
}

// more waits until so many more calls were answered. Errors: when they were not in time,
// or ended is closed before.
func (a *answers) more(calls int64, ended <-chan struct{}) error {
	from := a.calls.Load()
	for deadline := time.Now().Add(patience); a.calls.Load() < from+calls; {
		if time.Now().After(deadline) {
			return fmt.Errorf("the writers had %d more answers of %d within %s", a.calls.Load()-from, calls, patience)
		}
		select {
		case <-ended:
			return fmt.Errorf("the server ended by itself")
		case <-time.After(2 * time.Millisecond):
		}
	}
	return nil
}

// problems are what went wrong, the first of them in words.
type problems struct {
	mu    sync.Mutex
	count int
	first []string
}

const mostProblems = 20

func (p *problems) add(format string, args ...any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.count++; len(p.first) < mostProblems {
		p.first = append(p.first, fmt.Sprintf(format, args...))
	}
}
