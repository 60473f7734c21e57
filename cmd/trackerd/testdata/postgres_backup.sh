# The commands of the operator's guide, as they stand there. A test runs them.
# JOINTLEDGER_DSN is the database of the record, RESTORED_DSN an empty new one.
pg_dump --format=custom --file=jointledger.dump "$JOINTLEDGER_DSN"
pg_restore --exit-on-error --single-transaction --no-owner --dbname="$RESTORED_DSN" jointledger.dump
