package service_test

// how says what becomes of a request about a site that the caller does not see, when
// the caller's role may make it at a site of its own.
type how uint8

const (
	// company is what belongs to no site: the caller is answered.
	company how = iota
	// forAll changes what holds at every site: who was given some is refused.
	forAll
	// unknown is answered as for a site, or record, that there is not.
	unknown
	// denied is refused for the place that it names, whether or not there is one.
	denied
	// deniedAlone and unknownAlone refuse that member of a batch and take the other.
	deniedAlone
	unknownAlone
	// handedIn is a batch of which each member takes what its own kind does.
	handedIn
	// held is answered for each joint, and refused for those of other sites.
	held
)

// ask is a request of one method in the text of its message. {S} stands for a site, {s}
// for its code in small letters, {name} for the id of a record of that site (records of siteStory), {new} for an id
// that nobody has used; {e} and {q} are entries of the technician and the inspector. Of
// a batch it is one member. Messages of a stream are parted by a line ---.
type ask struct {
	how  how
	text string
	// also are questions that name no site of others, or one in a filter of the list.
	also []string
}

const (
	aSite   = `site:{display_name:"Site {S}" region:"region {S}" time_zone:"Europe/Dublin"}`
	aTower  = `parent:"sites/{S}" tower_id:"CT9" tower:{material:MATERIAL_316}`
	aCell   = `parent:"sites/{S}/towers/CT1" cell_id:"C9" cell:{}`
	aJoint  = `parent:"sites/{S}/towers/CT1/cells/C1" joint_id:"J999" joint:{` + jointBody + `}`
	aLot    = `lot:{supplier:"Corrie" ` + theStud + `}`
	aTool   = `tool:{` + toolBody + `home_site:"sites/{S}"}`
	aPerson = `person:{display_name:"Ciara" home_site:"sites/{S}"}`

	jointBody = `kind:JOINT_KIND_STRUCTURAL part_a:"beam" part_b:"column" specification:"specifications/SS-M10" fasteners:24`
	theStud   = `fastener:{thread:"M10" length_millimetres:40 material:MATERIAL_316 property_class:"A4-70" coating:"plain" head:"hex"}`
	toolBody  = `kind:TOOL_KIND_TORQUE_WRENCH type_class:"II-A" minimum_newton_metres:8 maximum_newton_metres:40 resolution_newton_metres:0.2 interval_months:12 `
	specBody  = theStud + ` treatment:TREATMENT_ANTI_SEIZE locking_method:LOCKING_METHOD_NONE torque_newton_metres:32 torque_tolerance_percent:10 torque_basis:TORQUE_BASIS_LUBRICATED nut_factor:0.15`

	inS     = `filters:{grouping:GROUPING_SITE value:"{S}"}`
	joint1  = `sites/{S}/towers/CT1/cells/C1/joints/J001`
	seamOf  = `sites/{S}/towers/CT1/cells/C1/joints/J002`
	joint3  = `sites/{S}/towers/CT1/cells/C1/joints/J003`
	cell2   = `sites/{S}/towers/CT1/cells/C2`
	gallsOf = `description:"galling of a lot" grouping:ALARM_GROUPING_LOT incident_kinds:INCIDENT_KIND_GALLING in_control_rate:0.02 out_of_control_rate:0.2 run_length_attempts:200`

	aTightening = `lot:"lots/L-1" tool:"tools/TW-2" treatment:TREATMENT_ANTI_SEIZE torque_newton_metres:32 fasteners:20 pass:PASS_FIRST driving_method:DRIVING_METHOD_HAND {e}`
	galls       = `kind:INCIDENT_KIND_GALLING lot:"lots/L-1" treatment:TREATMENT_ANTI_SEIZE driving_method:DRIVING_METHOD_HAND noticed:"before clamp-up" action:"{M}" {e}`
	aSealing    = `sealant:"strip" batch:"S-77" width_millimetres:20 solvent:"isopropanol" air_celsius:12 surface_celsius:14 humidity_percent:60 splice:SPLICE_CORNER {e}`
	anAudit     = `kind:INSPECTION_KIND_TORQUE_AUDIT sample:3 plan:"{M}" readings_newton_metres:[31.5,30,32] result:INSPECTION_RESULT_PASS tool:"tools/TW-2" {q}`
	aHold       = `action:HOLD_ACTION_PLACED reason:"washers missing {M}" {e}`
	reworked    = `decision:DECISION_REWORK reason:"new studs {M}" {q}`
	aSignOff    = `point:SIGN_OFF_POINT_HOLD_POINT title:"before filling {M}" {q}`
	aCheck      = `tool:"tools/TW-1" site:"sites/{S}" action:TOOL_ACTION_PRE_USE_CHECK result:INSPECTION_RESULT_PASS {e}`
	aMovement   = `lot:"lots/L-1" site:"sites/{S}" kind:MOVEMENT_KIND_RECEIVED quantity:5 reference:"{M}" {e}`
	aCustody    = `tool:"tools/TW-1" site:"sites/{S}" {e}`
	aReading    = `laboratory:"Fell Metrology" points:{phase:CALIBRATION_PHASE_AS_LEFT target_newton_metres:24 readings_newton_metres:[24,24] expanded_uncertainty_newton_metres:0.3 coverage_factor:2} {e}`
)

// asks has every method of the API; a method that is missing fails the tests that go
// through them.
var asks = map[string]ask{
	"AlarmService/CreateAlarmRule": {company, `alarm_rule_id:"OTHER" alarm_rule:{` + gallsOf + `}`, nil},
	"AlarmService/GetAlarm":        {unknown, `name:"alarms/{alarm}"`, nil},
	"AlarmService/GetAlarmRule":    {company, `name:"alarmRules/GALL"`, nil},
	"AlarmService/ListAlarmRules":  {company, ``, nil},
	"AlarmService/ListAlarms":      {unknown, `site:"sites/{S}"`, []string{``, `lot:"lots/L-1"`, `rule:"alarmRules/GALL"`}},
	"AlarmService/UpdateAlarmRule": {forAll, `alarm_rule:{name:"alarmRules/GALL" description:"x"} update_mask:{paths:"description"}`, nil},
	"AlarmService/WatchAlarms":     {unknown, `sites:"sites/{S}"`, []string{``, `only_new:true`}},

	"AnalysisService/CountIncidents": {unknown, `sites:"sites/{S}"`, []string{``}},
	"AnalysisService/ListDueItems":   {unknown, `sites:"sites/{S}"`, []string{`within:{seconds:40000000}`, `tools:"tools/TW-2" within:{seconds:40000000}`}},
	"AnalysisService/QueryRates": {unknown, inS, []string{``, `group_by:GROUPING_SITE`, `group_by:GROUPING_REGION group_by:GROUPING_LOT`, `group_by:GROUPING_PERSON`,
		`group_by:GROUPING_TOOL`, `group_by:GROUPING_MONTH group_by:GROUPING_TREATMENT`, `filters:{grouping:GROUPING_REGION value:"region BAY"}`, `filters:{grouping:GROUPING_TOOL value:"TW-2"}`}},

	"AssemblyService/GetIncident":       {unknown, `name:"incidents/{galled}"`, nil},
	"AssemblyService/GetTightening":     {unknown, `name:"tightenings/{driven}"`, nil},
	"AssemblyService/ListIncidents":     {unknown, `place:"sites/{S}"`, []string{``, `lot:"lots/L-1"`, `person:"people/nd1"`, `page_size:1`}},
	"AssemblyService/ListTightenings":   {unknown, `place:"` + joint1 + `"`, []string{``, `tool:"tools/TW-2"`, `lot:"lots/L-1"`, `page_size:2`}},
	"AssemblyService/RecordIncidents":   {deniedAlone, `name:"incidents/{new}" joint:"` + joint1 + `" fasteners:1 ` + galls, nil},
	"AssemblyService/RecordTightenings": {deniedAlone, `name:"tightenings/{new}" joint:"` + joint1 + `" ` + aTightening, nil},

	"AttachmentService/DownloadAttachment": {unknown, `name:"attachments/{sum}"`, nil},
	"AttachmentService/ListAttachments":    {unknown, `record:"tightenings/{driven}"`, nil},
	"AttachmentService/UploadAttachment":   {unknown, anUpload, nil},

	"CarryService/GetCarriedSite": {unknown, `site:"sites/{S}"`, nil},

	"ComparisonService/QueryComparison": {unknown, `a:{grouping:GROUPING_LOT value:"L-1"} ` + inS, []string{`a:{grouping:GROUPING_LOT value:"L-1"} by_joint:true stratify_by:GROUPING_SITE`}},
	"ComparisonService/QueryLeaks":      {unknown, inS, []string{``}},
	"ComparisonService/QueryModel":      {unknown, `terms:{factor:GROUPING_LOT} ` + inS, []string{`terms:{factor:GROUPING_LOT}`, `terms:{factor:GROUPING_LOT} by_joint:true`}},
	"ComparisonService/QuerySpares":     {unknown, `sites:"sites/{S}"`, []string{``}},
	"ComparisonService/QueryStanding":   {unknown, `unit:GROUPING_LOT mix:GROUPING_SITE ` + inS, []string{`unit:GROUPING_LOT crude_only:true`, `unit:GROUPING_SITE crude_only:true`}},
	"ComparisonService/QueryTrend":      {unknown, inS, []string{``, `period:GROUPING_DAY`}},

	"ConsumableService/BatchCreateBatches":       {company, `batch_id:"B-9" batch:{kind:CONSUMABLE_KIND_STRIP_SEALANT product:"strip"}`, nil},
	"ConsumableService/BatchCreateSubstitutions": {company, `substitution_id:"S-9" substitution:{specification:"specifications/SS-M10" permitted:{thread:"M10" length_millimetres:45 material:MATERIAL_316} approved_by:"qa1"}`, nil},
	"ConsumableService/CreateBatch":              {company, `batch_id:"B-9" batch:{kind:CONSUMABLE_KIND_STRIP_SEALANT product:"strip"}`, nil},
	"ConsumableService/CreateSubstitution":       {company, `substitution_id:"S-9" substitution:{specification:"specifications/SS-M10" permitted:{thread:"M10" length_millimetres:45 material:MATERIAL_316} approved_by:"qa1"}`, nil},
	"ConsumableService/GetBatch":                 {company, `name:"batches/S-77"`, nil},
	"ConsumableService/GetSubstitution":          {company, `name:"substitutions/S-1"`, nil},
	"ConsumableService/ListBatches":              {company, ``, nil},
	"ConsumableService/ListSubstitutions":        {company, ``, nil},
	"ConsumableService/UpdateBatch":              {company, `batch:{name:"batches/S-77" product:"tape"} update_mask:{paths:"product"}`, nil},
	"ConsumableService/UpdateSubstitution":       {company, `substitution:{name:"substitutions/S-1" needs:"washers"} update_mask:{paths:"needs"}`, nil},

	"ControlService/GetCorrection":        {unknown, `name:"corrections/{corrected}"`, nil},
	"ControlService/GetCustodyChange":     {unknown, `name:"custodyChanges/{issued}"`, nil},
	"ControlService/GetDisposition":       {unknown, `name:"dispositions/{decided}"`, nil},
	"ControlService/GetHold":              {unknown, `name:"holds/{held}"`, nil},
	"ControlService/GetSignOff":           {unknown, `name:"signOffs/{signed}"`, nil},
	"ControlService/ListCorrections":      {unknown, `site:"sites/{S}"`, []string{``}},
	"ControlService/ListCustodyChanges":   {unknown, `site:"sites/{S}"`, []string{``}},
	"ControlService/ListDispositions":     {unknown, `place:"sites/{S}"`, []string{``}},
	"ControlService/ListHolds":            {unknown, `place:"` + cell2 + `"`, []string{``, `open_only:true`, `lot:"lots/L-2"`}},
	"ControlService/ListSignOffs":         {unknown, `place:"sites/{S}/towers/CT1"`, []string{``}},
	"ControlService/RecordCorrections":    {unknownAlone, `name:"corrections/{new}" corrects:"tightenings/{miscounted}" reason:"counted wrong" {e}`, nil},
	"ControlService/RecordCustodyChanges": {deniedAlone, `name:"custodyChanges/{new}" kind:CUSTODY_KIND_RETURNED ` + aCustody, nil},
	"ControlService/RecordDispositions":   {unknownAlone, `name:"dispositions/{new}" incident:"incidents/{leaked}" ` + reworked, nil},
	"ControlService/RecordHolds":          {deniedAlone, `name:"holds/{new}" place:"` + joint1 + `" ` + aHold, nil},
	"ControlService/RecordSignOffs":       {deniedAlone, `name:"signOffs/{new}" place:"` + joint1 + `" ` + aSignOff, nil},

	"CribService/GetCribPage":         {unknown, `site:"sites/{S}"`, nil},
	"CribService/LendTool":            {denied, `custody_change:{name:"custodyChanges/{new}" holder:"people/nd1" ` + aCustody + `}`, nil},
	"CribService/ListToolWhereabouts": {unknown, `site:"sites/{S}"`, []string{``, `only_lent:true`}},
	"CribService/SendTool":            {denied, `custody_change:{name:"custodyChanges/{new}" ` + aCustody + `} to_site:"sites/ELM"`, nil},

	"DeliveryService/DeliverRecords": {handedIn, `tightening:{name:"tightenings/{new}" joint:"` + joint1 + `" ` + aTightening + `}`, nil},

	"ImpactService/HoldToolImpact":         {held, `tool:"tools/TW-2" joints:"` + joint1 + `" reason:"recheck" entry:{person:"people/nd1"}`, nil},
	"ImpactService/ListFailedCalibrations": {unknown, `sites:"sites/{S}"`, []string{``}},
	"ImpactService/QueryToolImpact":        {company, `tool:"tools/TW-2"`, nil},

	"InspectionService/GetInspection":     {unknown, `name:"inspections/{tested}"`, nil},
	"InspectionService/GetSealing":        {unknown, `name:"sealings/{sealed}"`, nil},
	"InspectionService/ListInspections":   {unknown, `place:"sites/{S}"`, []string{``}},
	"InspectionService/ListSealings":      {unknown, `place:"` + seamOf + `"`, []string{``}},
	"InspectionService/RecordInspections": {deniedAlone, `name:"inspections/{new}" joint:"` + joint1 + `" ` + anAudit, nil},
	"InspectionService/RecordSealings":    {deniedAlone, `name:"sealings/{new}" joint:"` + seamOf + `" ` + aSealing, nil},

	"LotService/BatchCreateLots":    {company, `lot_id:"L-9" ` + aLot, nil},
	"LotService/CreateLot":          {company, `lot_id:"L-9" ` + aLot, nil},
	"LotService/GetLot":             {company, `name:"lots/L-1"`, nil},
	"LotService/GetLotMovement":     {unknown, `name:"lotMovements/{came}"`, nil},
	"LotService/ListLotMovements":   {unknown, `site:"sites/{S}"`, []string{``, `lot:"lots/L-1"`}},
	"LotService/ListLotStock":       {company, `lot:"lots/L-1"`, []string{`lot:"lots/L-2"`}},
	"LotService/ListLots":           {company, ``, nil},
	"LotService/RecordLotMovements": {deniedAlone, `name:"lotMovements/{new}" ` + aMovement, nil},
	"LotService/UpdateLot":          {company, `lot:{name:"lots/L-1" heat:"H78"} update_mask:{paths:"heat"}`, nil},

	"PersonService/BatchCreatePeople": {unknownAlone, `person_id:"new-{s}" ` + aPerson, nil},
	"PersonService/CreatePerson":      {unknown, `person_id:"new" ` + aPerson, nil},
	"PersonService/GetPerson":         {company, `name:"people/nd1"`, nil},
	"PersonService/ListPeople":        {unknown, `home_site:"sites/{S}"`, []string{``}},
	"PersonService/UpdatePerson":      {unknown, `person:{name:"people/nd1" home_site:"sites/{S}"} update_mask:{paths:"home_site"}`, nil},

	"ProgressService/CountFindings":   {unknown, `place:"sites/{S}"`, []string{``}},
	"ProgressService/FindLot":         {company, `lot:"lots/L-1"`, []string{`lot:"lots/L-2"`}},
	"ProgressService/GetHandover":     {unknown, `place:"sites/{S}/towers/CT1/cells/C1"`, nil},
	"ProgressService/GetJointHistory": {unknown, `joint:"` + joint1 + `"`, nil},
	"ProgressService/GetProgress":     {unknown, `place:"sites/{S}"`, nil},
	"ProgressService/ListChainHeads":  {unknown, `sites:"sites/{S}"`, []string{``}},
	"ProgressService/ListFindings":    {unknown, `place:"sites/{S}"`, []string{``, `page_size:1`}},
	"ProgressService/ListJointStates": {unknown, `place:"sites/{S}"`, nil},

	"ReadinessService/ListToolDrifts":   {company, ``, nil},
	"ReadinessService/QueryCoverage":    {unknown, `sites:"sites/{S}"`, []string{``}},
	"ReadinessService/QueryReadiness":   {unknown, `place:"sites/{S}" kit:{kind:TOOL_KIND_TORQUE_WRENCH quantity:1 lowest_newton_metres:20 highest_newton_metres:32} finish_date:"2026-04-30"`, nil},
	"ReadinessService/QueryReliability": {company, ``, nil},

	"ServerService/GetServer": {company, ``, nil},

	"SpecificationService/BatchCreateSpecifications":  {company, `specification_id:"NEW" specification:{` + specBody + `}`, nil},
	"SpecificationService/CreateSpecification":        {company, `specification_id:"NEW" specification:{` + specBody + `}`, nil},
	"SpecificationService/GetSpecification":           {company, `name:"specifications/SS-M10"`, nil},
	"SpecificationService/ListSpecificationRevisions": {company, `name:"specifications/SS-M10"`, nil},
	"SpecificationService/ListSpecifications":         {company, ``, nil},
	"SpecificationService/UpdateSpecification":        {forAll, `specification:{name:"specifications/SS-M10" nut_factor:0.16} update_mask:{paths:"nut_factor"}`, nil},

	"StructureService/BatchCreateCells":  {deniedAlone, aCell, nil},
	"StructureService/BatchCreateJoints": {deniedAlone, aJoint, nil},
	"StructureService/BatchCreateSites":  {deniedAlone, `site_id:"{S}" ` + aSite, nil},
	"StructureService/BatchCreateTowers": {deniedAlone, aTower, nil},
	"StructureService/CreateCell":        {denied, aCell, nil},
	"StructureService/CreateJoint":       {denied, aJoint, nil},
	"StructureService/CreateSite":        {denied, `site_id:"{S}" ` + aSite, nil},
	"StructureService/CreateTower":       {denied, aTower, nil},
	"StructureService/GetCell":           {unknown, `name:"` + cell2 + `"`, nil},
	"StructureService/GetJoint":          {unknown, `name:"` + joint1 + `"`, nil},
	"StructureService/GetSite":           {unknown, `name:"sites/{S}"`, nil},
	"StructureService/GetTower":          {unknown, `name:"sites/{S}/towers/CT1"`, nil},
	"StructureService/ListCells":         {unknown, `parent:"sites/{S}/towers/CT1"`, []string{`parent:"sites/-/towers/-"`}},
	"StructureService/ListJoints":        {unknown, `parent:"sites/{S}/towers/CT1/cells/C1"`, []string{`parent:"sites/-/towers/-/cells/-"`, `parent:"sites/-/towers/-/cells/-" page_size:1`}},
	"StructureService/ListSites":         {company, `region:"region {S}"`, []string{``, `page_size:1`}},
	"StructureService/ListTowers":        {unknown, `parent:"sites/{S}"`, []string{`parent:"sites/-"`}},
	"StructureService/UpdateCell":        {denied, `cell:{name:"` + cell2 + `" description:"x"} update_mask:{paths:"description"}`, nil},
	"StructureService/UpdateJoint":       {denied, `joint:{name:"` + joint1 + `" part_a:"x"} update_mask:{paths:"part_a"}`, nil},
	"StructureService/UpdateSite":        {denied, `site:{name:"sites/{S}" display_name:"x"} update_mask:{paths:"display_name"}`, nil},
	"StructureService/UpdateTower":       {denied, `tower:{name:"sites/{S}/towers/CT1" drawing:"x"} update_mask:{paths:"drawing"}`, nil},

	"ToolService/BatchCreateTools":   {unknownAlone, `tool_id:"TW-9{S}" ` + aTool, nil},
	"ToolService/CreateTool":         {unknown, `tool_id:"TW-9" ` + aTool, nil},
	"ToolService/GetCalibration":     {company, `name:"calibrations/` + goodCalibration + `"`, nil},
	"ToolService/GetTool":            {company, `name:"tools/TW-1"`, nil},
	"ToolService/GetToolCheck":       {unknown, `name:"toolChecks/{checked}"`, nil},
	"ToolService/ListCalibrations":   {company, ``, nil},
	"ToolService/ListToolChecks":     {company, ``, nil},
	"ToolService/ListTools":          {unknown, `home_site:"sites/{S}"`, []string{``}},
	"ToolService/RecordCalibrations": {company, `name:"calibrations/{new}" tool:"tools/TW-1" certificate:"C-{new}" ` + aReading, nil},
	"ToolService/RecordToolChecks":   {deniedAlone, `name:"toolChecks/{new}" ` + aCheck, nil},
	"ToolService/UpdateTool":         {unknown, `tool:{name:"tools/TW-1" home_site:"sites/{S}"} update_mask:{paths:"home_site"}`, nil},
}

const (
	goodCalibration = "01950000-0000-7000-8000-0000000000c1"
	anUpload        = `head:{record:"tightenings/{driven}" file_name:"{M}.png" media_type:"image/png"}` + "\n---\n" + `chunk:"\211PNG\r\n\032\n{M}"`
)
