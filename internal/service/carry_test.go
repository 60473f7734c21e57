package service_test

import (
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/carry/section"
	pb "jointledger/proto/jointledger/v1"
)

// carry reads what is sent of the site to a device that has sections with these sums.
func carry(t *testing.T, c clients, site string, had ...[]byte) (*pb.CarriedHead, []*pb.CarriedSection, error) {
	t.Helper()
	stream, err := c.carry.GetCarriedSite(t.Context(), &pb.GetCarriedSiteRequest{Site: site, KnownSha256: had})
	if err != nil {
		t.Fatal(err)
	}
	var head *pb.CarriedHead
	var sections []*pb.CarriedSection
	for {
		m, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return head, sections, nil
		case err != nil:
			return nil, nil, err
		case m.GetHead() != nil:
			if head != nil || sections != nil {
				t.Fatal("the head does not come first, or comes twice")
			}
			head = m.GetHead()
		case m.GetSection() != nil:
			sections = append(sections, m.GetSection())
		default:
			t.Fatalf("a part of nothing: %v", m)
		}
	}
}

func namesOf(sections []*pb.CarriedSection) string {
	var names []string
	for _, s := range sections {
		names = append(names, s.GetName())
	}
	return strings.Join(names, " ")
}

func TestCarriedSite(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		readyToWork(t, c)
		taken(t, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(t.Context(), &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{sound("2026-03-02T09:00:00Z", 10)}})).Outcomes)
		head, all, err := carry(t, c, "sites/HAR")
		if err != nil {
			t.Fatal(render(err))
		}
		const whole = "batches cells/CT1/C1 lots/M10-S-1 people site specifications/SS-M10 specifications/SS-SEAM tools/TW-1"
		if got := namesOf(all); got != whole {
			t.Fatalf("sections %s; expected %s", got, whole)
		}
		rules := section.RulesSum()
		if head.GetSite() != "sites/HAR" || !head.GetAsOfTime().IsValid() || !slices.Equal(head.GetRulesSha256(), rules[:]) || len(head.GetSections()) != len(all) {
			t.Errorf("head %v", head)
		}
		var sums [][]byte
		for i, s := range head.GetSections() {
			sums = append(sums, s.GetSha256())
			one, err := section.Unpack(s.GetName(), all[i].GetContentZstd(), section.Sum(s.GetSha256()))
			if err != nil {
				t.Errorf("%s: %v", s.GetName(), err)
			}
			if s.GetName() == "cells/CT1/C1" {
				cell, err := section.ReadCell(one.Name, one.Content)
				if err != nil || len(cell.Joints) != 2 || cell.Joints[0].Work.TightenedFirst != 10 || len(cell.Joints[0].Tightenings) != 1 {
					t.Errorf("the cell: %+v, %v", cell, err)
				}
			}
		}

		if _, none, err := carry(t, c, "sites/HAR", sums...); err != nil || len(none) != 0 {
			t.Errorf("to a device that has all: %s, %v", namesOf(none), err)
		}
		// A tightening changes its cell, the stock of its lot, and the use of a tool that
		// falls due by cycles.
		taken(t, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(t.Context(), &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{sound("2026-03-02T09:05:00Z", 2)}})).Outcomes)
		next, changed, err := carry(t, c, "sites/har", sums...)
		if err != nil {
			t.Fatal(render(err))
		}
		const want = "cells/CT1/C1 lots/M10-S-1 tools/TW-1"
		if got := namesOf(changed); got != want || len(next.GetSections()) != len(all) {
			t.Errorf("after a tightening %s of %d sections; expected %s of %d", got, len(next.GetSections()), want, len(all))
		}
		// A sum of another place is of no use to anybody, and does no harm.
		if _, again, err := carry(t, c, "sites/HAR", make([]byte, 32)); err != nil || namesOf(again) != whole {
			t.Errorf("with a sum of something else: %s, %v", namesOf(again), err)
		}
	})
}

func TestCarriedSiteRefusals(t *testing.T) {
	c := fleet(t)
	for _, r := range []struct {
		site string
		had  [][]byte
		want string
	}{
		{"", nil, "field site: is required; expected a site"},
		{"sites/-", nil, "stands for many; expected one site"},
		{theTower, nil, "is a tower; expected a site"},
		{"sites/HAR", [][]byte{make([]byte, 31)}, "field known_sha256: has a sum of 31 bytes at place 0; expected 32"},
		{"sites/HAR", make([][]byte, 50_001), "field known_sha256: has 50001 sums; expected at most 50000"},
		{"sites/NOSUCH", nil, "reason jointledger/UNKNOWN_RESOURCE"},
	} {
		_, _, err := carry(t, c, r.site, r.had...)
		if err == nil || !strings.Contains(render(err), r.want) {
			t.Errorf("%q with %d sums: %s; expected %s", r.site, len(r.had), render(err), r.want)
		}
	}
}
