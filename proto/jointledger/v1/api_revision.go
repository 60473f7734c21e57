package jointledgerv1

// The revision of the API that this module speaks; the server tells its own in
// GetServer. A client and a server with the same APIMajor understand each other:
// within it calls, fields and words are added only. APIRevision rises by one with each
// release that adds some; a client whose revision is above the server's may be told
// that a call is not there.
const (
	APIMajor    = 1
	APIRevision = 2
)

// APIHeader is the header in which a client says which API it speaks, such as `1.4`. A
// server of another major refuses the call, and says so in one sentence.
const APIHeader = "jointledger-api"
