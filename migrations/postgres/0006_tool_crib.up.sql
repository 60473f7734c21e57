-- modify "calibrations" table
ALTER TABLE "calibrations" ADD COLUMN "document" smallint NOT NULL DEFAULT 0, ADD COLUMN "rule" smallint NOT NULL DEFAULT 0, ADD COLUMN "stated_verdict" smallint NOT NULL DEFAULT 0, ADD COLUMN "air_c" double precision NULL, ADD COLUMN "humidity_pct" double precision NULL, ADD COLUMN "device_uncertainty_pct" double precision NOT NULL DEFAULT 0, ADD COLUMN "verdict" jsonb NULL;
-- create index "calibration_certificate" to table: "calibrations"
CREATE INDEX "calibration_certificate" ON "calibrations" ("certificate");
-- modify "custodies" table
ALTER TABLE "custodies" ADD COLUMN "override_id" bigint NULL, ADD COLUMN "override_reason" character varying NOT NULL DEFAULT '';
-- modify "tools" table
ALTER TABLE "tools" ADD COLUMN "rated_load_kg" double precision NOT NULL DEFAULT 0, ADD COLUMN "policies" jsonb NULL;
-- create "tool_checks" table
CREATE TABLE "tool_checks" ("id" bigint NOT NULL, "action" smallint NOT NULL, "result" smallint NOT NULL, "certificate" character varying NOT NULL, PRIMARY KEY ("id"));
-- As in 0002: what is recorded is never edited and never deleted.
CREATE TRIGGER "tool_checks_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "tool_checks" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
