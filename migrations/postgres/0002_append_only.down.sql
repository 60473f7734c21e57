DROP TRIGGER "records_never_change" ON "records";
DROP TRIGGER "tightenings_never_change" ON "tightenings";
DROP TRIGGER "incidents_never_change" ON "incidents";
DROP TRIGGER "calibrations_never_change" ON "calibrations";
DROP TRIGGER "lot_movements_never_change" ON "lot_movements";
DROP TRIGGER "specification_revisions_never_change" ON "specification_revisions";
DROP FUNCTION "refuse_change"();
