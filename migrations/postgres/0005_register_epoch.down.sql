-- reverse: create "register_epoch" table
DROP TABLE "register_epoch";
