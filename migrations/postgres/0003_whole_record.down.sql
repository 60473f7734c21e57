-- reverse: create index "substitutions_code_key" to table: "substitutions"
DROP INDEX "substitutions_code_key";
-- reverse: create "substitutions" table
DROP TABLE "substitutions";
-- reverse: create index "signoff_tower_id" to table: "sign_offs"
DROP INDEX "signoff_tower_id";
-- reverse: create index "signoff_cell_id" to table: "sign_offs"
DROP INDEX "signoff_cell_id";
-- reverse: create "sign_offs" table
DROP TABLE "sign_offs";
-- reverse: create "sealings" table
DROP TABLE "sealings";
-- reverse: create index "hold_tool_id" to table: "holds"
DROP INDEX "hold_tool_id";
-- reverse: create index "hold_released_hold_id" to table: "holds"
DROP INDEX "hold_released_hold_id";
-- reverse: create index "hold_lot_id" to table: "holds"
DROP INDEX "hold_lot_id";
-- reverse: create index "hold_joint_id" to table: "holds"
DROP INDEX "hold_joint_id";
-- reverse: create index "hold_cell_id" to table: "holds"
DROP INDEX "hold_cell_id";
-- reverse: create "holds" table
DROP TABLE "holds";
-- reverse: create index "finding_record_id" to table: "findings"
DROP INDEX "finding_record_id";
-- reverse: create "findings" table
DROP TABLE "findings";
-- reverse: create index "disposition_incident_id" to table: "dispositions"
DROP INDEX "disposition_incident_id";
-- reverse: create "dispositions" table
DROP TABLE "dispositions";
-- reverse: create "custodies" table
DROP TABLE "custodies";
-- reverse: create index "correction_replacement_id" to table: "corrections"
DROP INDEX "correction_replacement_id";
-- reverse: create index "correction_corrected_id" to table: "corrections"
DROP INDEX "correction_corrected_id";
-- reverse: create "corrections" table
DROP TABLE "corrections";
-- reverse: create index "attachment_sha256" to table: "attachments"
DROP INDEX "attachment_sha256";
-- reverse: create index "attachment_record_id_sha256" to table: "attachments"
DROP INDEX "attachment_record_id_sha256";
-- reverse: create "attachments" table
DROP TABLE "attachments";
-- reverse: create index "record_tool_id_kind_occur_time" to table: "records"
DROP INDEX "record_tool_id_kind_occur_time";
-- reverse: modify "records" table
ALTER TABLE "records" DROP COLUMN "offline";
-- reverse: drop index "record_tool_id_occur_time" from table: "records"
CREATE INDEX "record_tool_id_occur_time" ON "records" ("tool_id", "occur_time");
-- reverse: create index "tool_use_key" to table: "tool_uses"
DROP INDEX "tool_use_key";
-- reverse: create "tool_uses" table
DROP TABLE "tool_uses";
-- reverse: create index "blob_key" to table: "blobs"
DROP INDEX "blob_key";
-- reverse: create "blobs" table
DROP TABLE "blobs";
-- reverse: create index "batches_number_key" to table: "batches"
DROP INDEX "batches_number_key";
-- reverse: create "batches" table
DROP TABLE "batches";
-- reverse: create index "lot_sum_key" to table: "lot_sums"
DROP INDEX "lot_sum_key";
-- reverse: create "lot_sums" table
DROP TABLE "lot_sums";
-- reverse: create "inspections" table
DROP TABLE "inspections";
