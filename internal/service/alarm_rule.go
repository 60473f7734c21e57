package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var alarmRules = thing[ledger.AlarmRule, string, *pb.AlarmRule, *pb.CreateAlarmRuleRequest]{
	what:    "alarm_rule",
	message: (*pb.CreateAlarmRuleRequest).GetAlarmRule,
	from:    alarmRuleFrom,
	to:      alarmRuleTo,
	identify: func(p *problems, r *pb.CreateAlarmRuleRequest, v *ledger.AlarmRule) {
		v.Code = r.AlarmRuleId
		planAlarmRule(p, v)
	},
	parse:    func(p *problems, field, name string) string { return p.Required(field, "alarmRules", name) },
	key:      func(v ledger.AlarmRule) string { return v.Code },
	resource: func(v ledger.AlarmRule) string { return wire.ResourceName("alarmRules", v.Code) },
	validate: ledger.AlarmRule.Validate,
	fields: []field[ledger.AlarmRule]{
		{"description", func(dst, src *ledger.AlarmRule) { dst.Description = src.Description }},
		{"active", func(dst, src *ledger.AlarmRule) { dst.Active = src.Active }},
	},
	register: (*store.Store).RegisterAlarmRules,
	get:      (*store.Store).AlarmRule,
	update:   (*store.Store).UpdateAlarmRule,
}

// planAlarmRule reckons the plan here, so that the writer does not wait for it. A
// rule that is not sound is told so in the domain's own words.
func planAlarmRule(p *problems, v *ledger.AlarmRule) {
	err := analysis.PlanAlarmRule(v)
	if err == nil || len(v.Validate()) > 0 {
		return
	}
	for _, f := range ledger.AsError(err).Fields {
		p.Add(f.Field, "%s", f.Description)
	}
}

// CreateAlarmRule registers a rule.
func (s alarmService) CreateAlarmRule(ctx context.Context, r *pb.CreateAlarmRuleRequest) (*pb.AlarmRule, error) {
	return alarmRules.create(ctx, s.Services, r)
}

// GetAlarmRule reads one rule.
func (s alarmService) GetAlarmRule(ctx context.Context, r *pb.GetAlarmRuleRequest) (*pb.AlarmRule, error) {
	return alarmRules.fetch(ctx, s.Services, r.Name)
}

// ListAlarmRules pages through rules.
func (s alarmService) ListAlarmRules(ctx context.Context, r *pb.ListAlarmRulesRequest) (*pb.ListAlarmRulesResponse, error) {
	items, next, err := listPage(r, nil, func(page store.Page) ([]ledger.AlarmRule, string, error) {
		return s.store.AlarmRules(ctx, r.OnlyActive, page)
	}, alarmRuleTo)
	return &pb.ListAlarmRulesResponse{AlarmRules: items, NextPageToken: next}, err
}

// UpdateAlarmRule changes the fields in the mask.
func (s alarmService) UpdateAlarmRule(ctx context.Context, r *pb.UpdateAlarmRuleRequest) (*pb.AlarmRule, error) {
	// Whoever switches it off does so for every site.
	if err := access.AllowEverywhere(ctx, access.SetAlarms); err != nil {
		return nil, err
	}
	return alarmRules.change(ctx, s.Services, r, r.AlarmRule)
}
