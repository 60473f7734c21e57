package service

import (
	"google.golang.org/grpc"

	"jointledger/internal/carry/section"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// mostKnownSums bounds what a device may say it has: a site of a thousand cells,
// lots and tools has a few thousand sections.
const mostKnownSums = 50_000

// GetCarriedSite sends the head of a site's carried data, then the sections that the
// caller does not have.
func (s carryService) GetCarriedSite(r *pb.GetCarriedSiteRequest, stream grpc.ServerStreamingServer[pb.GetCarriedSiteResponse]) error {
	ctx := stream.Context()
	var p problems
	site := p.PlaceBetween("site", r.Site, 1, 1)
	had := knownSums(&p, r.KnownSha256)
	if err := ledger.Invalid("request", p); err != nil {
		return err
	}
	carried, err := s.store.CarriedSite(ctx, site.Site)
	if err != nil {
		return err
	}
	sections, err := sectionsOf(&carried)
	if err != nil {
		return err
	}
	rulesSum := section.RulesSum()
	head := &pb.CarriedHead{Site: site.Resource(), AsOfTime: wire.Timestamp(carried.ReadTime), RulesSha256: rulesSum[:]}
	sums := make([]section.Sum, len(sections))
	for i, one := range sections {
		sums[i] = one.Sum()
		head.Sections = append(head.Sections, &pb.CarriedSectionSum{Name: one.Name, Sha256: sums[i][:]})
	}
	if err := stream.Send(&pb.GetCarriedSiteResponse{Part: &pb.GetCarriedSiteResponse_Head{Head: head}}); err != nil {
		return err
	}
	for i, one := range sections {
		if had[sums[i]] {
			continue
		}
		m := &pb.CarriedSection{Name: one.Name, ContentZstd: one.Packed()}
		if err := stream.Send(&pb.GetCarriedSiteResponse{Part: &pb.GetCarriedSiteResponse_Section{Section: m}}); err != nil {
			return err
		}
	}
	return nil
}

func knownSums(p *problems, sums [][]byte) map[section.Sum]bool {
	if len(sums) > mostKnownSums {
		p.Add("known_sha256", "has %d sums; expected at most %d", len(sums), mostKnownSums)
		return nil
	}
	had := make(map[section.Sum]bool, len(sums))
	for i, s := range sums {
		if len(s) != len(section.Sum{}) {
			p.Add("known_sha256", "has a sum of %d bytes at place %d; expected %d", len(s), i, len(section.Sum{}))
			return nil
		}
		had[section.Sum(s)] = true
	}
	return had
}

// sectionsOf writes all sections, in the order of their names.
func sectionsOf(c *store.CarriedSite) ([]section.Section, error) {
	w := section.Writer{}
	w.Add(section.OfPlan(c.Site, c.Towers))
	w.Add(section.OfPeople(c.People))
	w.Add(section.OfBatches(c.Batches))
	for _, one := range c.Cells {
		w.Add(section.OfCell(one))
	}
	for _, one := range c.Specifications {
		w.Add(section.OfSpecification(one))
	}
	for _, one := range c.Lots {
		w.Add(section.OfLot(one))
	}
	for _, one := range c.Tools {
		w.Add(section.OfTool(one))
	}
	return w.Sections()
}
