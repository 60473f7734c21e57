package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// SiteFrom reads a site that a client asks for, without its name.
func SiteFrom(_ *Problems, m *pb.Site) ledger.Site {
	return ledger.Site{
		Name:     m.GetDisplayName(),
		Region:   m.GetRegion(),
		TimeZone: m.GetTimeZone(),
		Status:   Or(Word[ledger.SiteStatus](m.GetStatus()), ledger.SiteActive),
		Units:    Or(Word[ledger.UnitPreference](m.GetUnitPreference()), ledger.UnitsSI),
	}
}

// SiteTo writes a site.
func SiteTo(s ledger.Site) *pb.Site {
	return &pb.Site{
		Name:           ResourceName("sites", s.Code),
		DisplayName:    s.Name,
		Region:         s.Region,
		TimeZone:       s.TimeZone,
		Status:         pb.SiteStatus(s.Status),
		UnitPreference: pb.UnitPreference(s.Units),
		Etag:           EtagOf(s.Version),
		CreateTime:     Timestamp(s.CreateTime),
		UpdateTime:     Timestamp(s.UpdateTime),
	}
}

// SiteName reads the full resource name of a site in a field; it must be given.
func SiteName(p *Problems, field, name string) string {
	return p.PlaceOf(field, name, 1, false).Site
}
