package cli

import (
	"jointledger/internal/analysis"
	pb "jointledger/proto/jointledger/v1"
)

// modelFrom reads the answer of the server into the one that a file gives.
func modelFrom(m *pb.QueryModelResponse) analysis.ModelAnswer {
	f := m.GetFit()
	a := analysis.ModelAnswer{
		Headline: m.GetHeadline(), RatioName: m.GetRatioName(), Rows: int(m.GetRows()), RowsLeftOut: int(m.GetRowsLeftOut()), Clusters: int(m.GetClusters()),
		Failures: m.GetFailures(), Size: m.GetSize(), Penalised: m.GetPenalised(), PenaltyReason: m.GetPenaltyReason(),
		Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	if f != nil {
		a.Fit = analysis.ModelFit{
			LogLikelihood: f.GetLogLikelihood(), AIC: f.GetAic(), Deviance: f.GetDeviance(), NullDeviance: f.GetNullDeviance(),
			DegreesOfFreedom: int(f.GetDegreesOfFreedom()), NullDegreesOfFreedom: int(f.GetNullDegreesOfFreedom()),
			Dispersion: f.Dispersion, DispersionUsed: f.GetDispersionUsed(), Note: f.GetNote(),
		}
	}
	for _, t := range m.GetTerms() {
		a.Terms = append(a.Terms, modelTermFrom(t))
	}
	if c := m.GetIntercept(); c != nil {
		intercept := modelCoefficientFrom(c)
		a.Intercept = &intercept
	}
	return a
}

func modelTermFrom(m *pb.ModelTermAnswer) analysis.ModelTermAnswer {
	t := analysis.ModelTermAnswer{Column: m.GetColumn(), Covariate: m.GetCovariate(), Reference: m.GetReference(), Per: m.GetPer(),
		Test: modelTestFrom(m.GetTest()), RobustTest: modelTestFrom(m.GetRobustTest())}
	for _, c := range m.GetCoefficients() {
		t.Coefficients = append(t.Coefficients, modelCoefficientFrom(c))
	}
	for _, r := range m.GetRates() {
		t.Rates = append(t.Rates, analysis.ModelRate{
			Level: r.GetLevel(), Value: r.GetValue(), Failures: r.GetFailures(), Size: r.GetSize(), CrudePer1000: r.CrudePer_1000, Per1000: r.Per_1000,
			IntervalPer1000: limitsFrom(r.GetIntervalPer_1000()), RobustIntervalPer1000: limitsFrom(r.GetRobustIntervalPer_1000()),
		})
	}
	return t
}

func modelCoefficientFrom(c *pb.ModelCoefficient) analysis.ModelCoefficient {
	return analysis.ModelCoefficient{
		Level: c.GetLevel(), Estimate: c.Estimate, StandardError: c.StandardError, RobustStandardError: c.RobustStandardError, Ratio: c.Ratio,
		Wald: limitsFrom(c.GetWald()), Profile: limitsFrom(c.GetProfile()), Robust: limitsFrom(c.GetRobust()),
		WaldZ: c.WaldZ, WaldP: c.WaldPValue,
		PValue: c.PValue, PAdjusted: c.PAdjusted, RobustP: c.RobustPValue, DesignEffect: c.DesignEffect, Note: c.GetNote(),
	}
}

func modelTestFrom(m *pb.TestResult) *analysis.ModelTest {
	if m == nil {
		return nil
	}
	return &analysis.ModelTest{Statistic: m.GetStatistic(), DegreesOfFreedom: int(m.GetDegreesOfFreedom()), PValue: m.GetPValue()}
}

// leaksFrom reads the answer of the server into the one that a file gives.
func leaksFrom(m *pb.QueryLeaksResponse) analysis.LeakAnswer {
	a := analysis.LeakAnswer{
		Headline: m.GetHeadline(), Sealings: m.GetSealings(), Failed: m.GetFailed(), Tested: m.GetTested(), Joints: m.GetJoints(), JointsNeverTested: m.GetJointsNeverTested(),
		RatePer1000: m.RatePer_1000, LowerPer1000: m.LowerPer_1000, UpperPer1000: m.UpperPer_1000,
		Method: m.GetMethod(), Assumption: m.GetAssumption(), Cautions: m.GetCautions(),
	}
	for _, c := range m.GetConditions() {
		condition := analysis.LeakCondition{Name: c.GetName(), PValue: c.PValue, PAdjusted: c.PAdjusted}
		for _, b := range c.GetBands() {
			condition.Bands = append(condition.Bands, analysis.LeakBand{
				Name: b.GetName(), From: b.From, To: b.To, NotRecorded: b.GetNotRecorded(), Sealings: b.GetSealings(), Failed: b.GetFailed(),
				RatePer1000: b.RatePer_1000, LowerPer1000: b.LowerPer_1000, UpperPer1000: b.UpperPer_1000,
			})
		}
		a.Conditions = append(a.Conditions, condition)
	}
	if m.Model != nil {
		model := modelFrom(m.Model)
		a.Model = &model
	}
	return a
}
