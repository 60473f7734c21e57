-- reverse: create "tightenings" table
DROP TABLE "tightenings";
-- reverse: create index "records_uid_key" to table: "records"
DROP INDEX "records_uid_key";
-- reverse: create index "record_tool_id_occur_time" to table: "records"
DROP INDEX "record_tool_id_occur_time";
-- reverse: create index "record_lot_id" to table: "records"
DROP INDEX "record_lot_id";
-- reverse: create index "record_joint_id" to table: "records"
DROP INDEX "record_joint_id";
-- reverse: create "records" table
DROP TABLE "records";
-- reverse: create index "tools_serial_key" to table: "tools"
DROP INDEX "tools_serial_key";
-- reverse: create "tools" table
DROP TABLE "tools";
-- reverse: create index "lots_number_key" to table: "lots"
DROP INDEX "lots_number_key";
-- reverse: create "lots" table
DROP TABLE "lots";
-- reverse: create index "people_code_key" to table: "people"
DROP INDEX "people_code_key";
-- reverse: create "people" table
DROP TABLE "people";
-- reverse: create index "joint_cell_id_tag" to table: "joints"
DROP INDEX "joint_cell_id_tag";
-- reverse: create "joints" table
DROP TABLE "joints";
-- reverse: create "incidents" table
DROP TABLE "incidents";
-- reverse: create index "specificationrevision_specification_id_revision" to table: "specification_revisions"
DROP INDEX "specificationrevision_specification_id_revision";
-- reverse: create "specification_revisions" table
DROP TABLE "specification_revisions";
-- reverse: create index "specifications_code_key" to table: "specifications"
DROP INDEX "specifications_code_key";
-- reverse: create "specifications" table
DROP TABLE "specifications";
-- reverse: create index "cell_tower_id_tag" to table: "cells"
DROP INDEX "cell_tower_id_tag";
-- reverse: create "cells" table
DROP TABLE "cells";
-- reverse: create index "tower_site_id_tag" to table: "towers"
DROP INDEX "tower_site_id_tag";
-- reverse: create "towers" table
DROP TABLE "towers";
-- reverse: create index "sites_code_key" to table: "sites"
DROP INDEX "sites_code_key";
-- reverse: create "sites" table
DROP TABLE "sites";
-- reverse: create index "request_keys_request_id_key" to table: "request_keys"
DROP INDEX "request_keys_request_id_key";
-- reverse: create "request_keys" table
DROP TABLE "request_keys";
-- reverse: create index "tally_key" to table: "tallies"
DROP INDEX "tally_key";
-- reverse: create "tallies" table
DROP TABLE "tallies";
-- reverse: create "lot_movements" table
DROP TABLE "lot_movements";
-- reverse: create "calibrations" table
DROP TABLE "calibrations";
-- reverse: create "chains" table
DROP TABLE "chains";
