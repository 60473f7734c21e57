-- A record is never edited and never deleted, whoever asks.
CREATE FUNCTION "refuse_change"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'a record is never edited or deleted'; END $$;
CREATE TRIGGER "records_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "records" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
CREATE TRIGGER "tightenings_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "tightenings" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
CREATE TRIGGER "incidents_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "incidents" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
CREATE TRIGGER "calibrations_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "calibrations" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
CREATE TRIGGER "lot_movements_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "lot_movements" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
CREATE TRIGGER "specification_revisions_never_change" BEFORE UPDATE OR DELETE OR TRUNCATE ON "specification_revisions" FOR EACH STATEMENT EXECUTE FUNCTION "refuse_change"();
