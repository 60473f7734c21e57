package store_test

import (
	"testing"

	"jointledger/internal/store/storetest"
)

// conformance is what every engine is held to. A new promise of the store starts
// as an entry here; there is no list of engines that may break one.
var conformance = []struct {
	name string
	test func(*testing.T, storetest.Engine)
}{
	{"FleetWithRecords", testFleetWithRecords},

	{"ThingsAreRegistered", eachKind(thingTests.register)},
	{"ThingsAreChanged", eachKind(thingTests.change)},
	{"RequestsAreRecognised", eachKind(thingTests.requests)},
	{"ThingsAreOnlyValidated", eachKind(thingTests.validateOnly)},
	{"ThingsAreListed", eachKind(thingTests.list)},
	{"PlaceFilters", testPlaceFilters},
	{"ThingFilters", testThingFilters},
	{"ReferencesOfThings", testReferencesOfThings},
	{"SpecificationRevisions", testSpecificationRevisions},
	{"ZeroIsNotAbsentInThings", testZeroIsNotAbsentInThings},
	{"NamesNobodyCouldGive", testNamesNobodyCouldGive},

	{"RecordsAreTakenOnce", testRecordsAreTakenOnce},
	{"RecordIDsAreNotReused", testRecordIDsAreNotReused},
	{"RepeatsWithinABatch", testRepeatsWithinABatch},
	{"ABadMemberFailsNoNeighbour", testABadMemberFailsNoNeighbour},
	{"RecordsNameWhatExists", testRecordsNameWhatExists},
	{"RecordsAreOnlyValidated", testRecordsAreOnlyValidated},
	{"RecordsKeepTheirRevision", testRecordsKeepTheirRevision},
	{"RecordsComeBackAsTheyWere", testRecordsComeBackAsTheyWere},
	{"TextsComeBackAsTheyWere", testTextsComeBackAsTheyWere},
	{"TorqueZeroAndAbsent", testTorqueZeroAndAbsent},
	{"TimesKeepMicrosecondsAndOffsets", testTimesKeepMicrosecondsAndOffsets},
	{"LocalDays", testLocalDays},
	{"CalibrationsAreJudged", testCalibrationsAreJudged},
	{"CalibrationsThatCantBe", testCalibrationsThatCantBe},
	{"CertificatesProveOneCalibration", testCertificatesProveOneCalibration},
	{"DeclarationsStartNewTools", testDeclarationsStartNewTools},
	{"ToolChecksAndPolicies", testToolChecksAndPolicies},
	{"CalibrationsStandAtTheHomeSite", testCalibrationsStandAtTheHomeSite},
	{"RefusedMembersTakeNoID", testRefusedMembersTakeNoID},
	{"ReplacementsShareTheIDs", testReplacementsShareTheIDs},
	{"RecordsAreListed", testRecordsAreListed},
	{"RecordFilters", testRecordFilters},
	{"RecordsPastTheParameterLimit", testRecordsPastTheParameterLimit},

	{"CountsByEveryGrouping", testCountsByEveryGrouping},
	{"CountsOfPeopleAndTools", testCountsOfPeopleAndTools},
	{"CountsOfPasses", testCountsOfPasses},
	{"CountFilters", testCountFilters},
	{"CountDays", testCountDays},
	{"LotStock", testLotStock},
	{"DueInputs", testDueInputs},
	{"DueOfAFleet", testDueOfAFleet},
	{"UsesAreFollowed", testUsesAreFollowed},
	{"LendTool", testLendTool},
	{"SendTool", testSendTool},
	{"LentUnfit", testLentUnfit},
	{"TrackedTools", testTrackedTools},

	{"VerifySound", testVerifySound},
	{"VerifyFindsEachColumn", testVerifyFindsEachColumn},
	{"VerifyFindsWhatIsMissing", testVerifyFindsWhatIsMissing},
	{"VerifyFindsTallies", testVerifyFindsTallies},
	{"RecordsAreNeverChanged", testRecordsAreNeverChanged},

	{"ManyWriters", testManyWriters},
	{"TwoStoresOnOneDatabase", testTwoStoresOnOneDatabase},
	{"CancelledWhileWaiting", testCancelledWhileWaiting},
	{"ChangeThatPanics", testChangeThatPanics},
	{"CloseWhileWriting", testCloseWhileWriting},
	{"ClosedStore", testClosedStore},
	{"FaultsAreTold", testFaultsAreTold},
}

func TestConformance(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		for _, c := range conformance {
			t.Run(c.name, func(t *testing.T) {
				t.Parallel()
				c.test(t, e)
			})
		}
	})
}
