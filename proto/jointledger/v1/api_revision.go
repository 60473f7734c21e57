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

// QueuedHeader is the header in which a client that records asks, with any value, to be
// told when its records are in the server's queue, and in which the server says so, in the
// header of its answer, before they are written. What the client sends to the same server
// after that is written after them, unless they fail: a client that hears of that sends no
// more, and what it had sent by then may have been kept. A server that doesn't know the
// header says nothing, and then the answer itself is what tells.
const QueuedHeader = "jointledger-queued"
