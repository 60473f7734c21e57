package cli

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// span is a time range that a list is cut to.
type span struct{ since, until time.Time }

func (s *span) flags(f *fields) {
	f.moment(&s.since, "since", "start_time", "only what happened at or after this time")
	f.moment(&s.until, "until", "end_time", "only what happened before this time")
}

func (s *span) start() *timestamppb.Timestamp { return stamp(s.since) }
func (s *span) end() *timestamppb.Timestamp   { return stamp(s.until) }

// stamp is a time as the API has it; nil for none.
func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}
