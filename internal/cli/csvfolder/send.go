package csvfolder

import (
	"cmp"
	"context"
	"fmt"
	"sync"
	"sync/atomic"

	"google.golang.org/protobuf/proto"

	"jointledger/internal/cli/csvfile"
	pb "jointledger/proto/jointledger/v1"
)

// checksUnderWay is how many batches are checked at once: they don't depend on one
// another, and a server has more than one processor.
const checksUnderWay = 4

// check reads a file, and has the server check its good lines while it reads on when
// asked to. It gives how many good items there are.
func (t *taker) check(ctx context.Context, k *kind, report *FileReport, ask bool) (total int, err error) {
	var ofFile csvfile.Problems // report.Problems are the server's
	s := t.sending(ctx, k, report, checksUnderWay)
	s.validateOnly = true
	defer s.cancel()
	err = t.items(k, &ofFile, func(item *Item) error {
		total++
		if !ask {
			return nil
		}
		return s.add(item)
	})
	if err == nil {
		err = s.end()
	}
	if err != nil {
		return total, err
	}
	report.Refused += ofFile.BadLines()
	ofFile.Join(&report.Problems)
	report.Problems = ofFile
	return total, nil
}

// keepsUnderWay is how many batches are kept at once: the next is on its way to the
// server's queue while one is written.
const keepsUnderWay = 2

// keep sends the good items of a file to be kept and counts what became of them.
func (t *taker) keep(ctx context.Context, k *kind, report *FileReport, total int) error {
	var ignored csvfile.Problems // counted when the file was checked
	s := t.sending(ctx, k, report, keepsUnderWay)
	s.total = total
	defer s.cancel()
	if err := t.items(k, &ignored, s.add); err != nil {
		return err
	}
	return s.end()
}

// sending hands the items of a file to the server in batches, some at once, and takes
// the answers in the order of the file.
type sending struct {
	*taker
	ctx          context.Context
	cancel       context.CancelFunc
	kind         *kind
	report       *FileReport
	validateOnly bool
	most         int // batches under way
	total, done  int
	batch        []*Item
	bytes        int
	underWay     []underWay
	// failed says that one of them has failed.
	failed atomic.Bool
}

// underWay is a batch that was sent, with the channel that its answer comes by.
type underWay struct {
	batch  []*Item
	answer chan answer
	// queued is closed once the server has it in its queue, or has answered.
	queued chan struct{}
}

type answer struct {
	outcomes []*pb.Outcome
	err      error
}

func (t *taker) sending(ctx context.Context, k *kind, report *FileReport, most int) *sending {
	ctx, cancel := context.WithCancel(ctx)
	return &sending{taker: t, ctx: ctx, cancel: cancel, kind: k, report: report, most: most}
}

func (s *sending) add(item *Item) error {
	n := proto.Size(item.Message)
	if len(s.batch) == batchMembers || s.bytes+n > batchBytes {
		if err := s.hand(); err != nil {
			return err
		}
	}
	s.batch, s.bytes = append(s.batch, item), s.bytes+n
	return nil
}

// hand sends the batch, once there are few enough under way. What was answered is
// looked at when the server has work again.
func (s *sending) hand() error {
	if len(s.batch) == 0 {
		return nil
	}
	heard := func() error { return nil }
	if len(s.underWay) == s.most {
		u, a := s.oldest()
		if a.err != nil {
			return a.err
		}
		heard = func() error { return s.take(u.batch, a.outcomes) }
	}
	if err := s.keepOrder(); err != nil {
		return cmp.Or(heard(), err)
	}
	u := underWay{s.batch, make(chan answer, 1), make(chan struct{})}
	queued := sync.OnceFunc(func() { close(u.queued) })
	ctx := s.ctx
	if !s.validateOnly {
		ctx = whenQueued(ctx, queued)
	}
	go func() {
		defer queued()
		outcomes, err := s.kind.send(ctx, s.conn, u.batch, s.validateOnly)
		s.failed.CompareAndSwap(false, err != nil)
		u.answer <- answer{outcomes, err}
	}()
	s.underWay = append(s.underWay, u)
	s.batch, s.bytes = nil, 0
	return heard()
}

// keepOrder waits until the batch before is in the server's queue, which it writes in
// order: what comes later may be judged by what came before. Nothing is sent after one
// that has failed: the error is that one's.
func (s *sending) keepOrder() error {
	if n := len(s.underWay); n > 0 && !s.validateOnly {
		<-s.underWay[n-1].queued
		if s.failed.Load() {
			return s.hearAll()
		}
	}
	return nil
}

// end sends what is left and hears all answers.
func (s *sending) end() error {
	if err := s.hand(); err != nil {
		return err
	}
	return s.hearAll()
}

// hearAll hears the answers that are out, up to one that failed.
func (s *sending) hearAll() error {
	for len(s.underWay) > 0 {
		u, a := s.oldest()
		if a.err != nil {
			return a.err
		}
		if err := s.take(u.batch, a.outcomes); err != nil {
			return err
		}
	}
	return nil
}

// oldest waits for the answer to the oldest batch that is under way.
func (s *sending) oldest() (underWay, answer) {
	u := s.underWay[0]
	s.underWay = s.underWay[1:]
	return u, <-u.answer
}

// take counts what became of a batch.
func (s *sending) take(batch []*Item, outcomes []*pb.Outcome) error {
	if len(outcomes) != len(batch) {
		return fmt.Errorf("the server answered for %d of %d members of a batch of %s", len(outcomes), len(batch), s.kind.file)
	}
	for i, outcome := range outcomes {
		problems, err := s.count(s.ctx, s.kind, s.report, batch[i], outcome)
		if err != nil {
			return err
		}
		if len(problems) > 0 {
			s.report.Refused++
		} else if s.options.DryRun {
			s.offered[batch[i].Name] = true
		}
		for _, p := range problems {
			s.report.Problems.Add(p)
		}
	}
	s.done += len(batch)
	if s.options.Progress != nil {
		s.options.Progress(Progress{File: s.kind.file, Checking: s.validateOnly, Done: s.done, Total: s.total})
	}
	return nil
}
