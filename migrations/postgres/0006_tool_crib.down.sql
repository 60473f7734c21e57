-- reverse: create "tool_checks" table
DROP TABLE "tool_checks";
-- reverse: modify "tools" table
ALTER TABLE "tools" DROP COLUMN "policies", DROP COLUMN "rated_load_kg";
-- reverse: modify "custodies" table
ALTER TABLE "custodies" DROP COLUMN "override_reason", DROP COLUMN "override_id";
-- reverse: create index "calibration_certificate" to table: "calibrations"
DROP INDEX "calibration_certificate";
-- reverse: modify "calibrations" table
ALTER TABLE "calibrations" DROP COLUMN "verdict", DROP COLUMN "device_uncertainty_pct", DROP COLUMN "humidity_pct", DROP COLUMN "air_c", DROP COLUMN "stated_verdict", DROP COLUMN "rule", DROP COLUMN "document";
