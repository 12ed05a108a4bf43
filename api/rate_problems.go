package api

import "net/http"

// Problems of asking for too much.
var (
	problemTooMany = &problem{name: "too-many-requests", status: http.StatusTooManyRequests, title: "Too much at once",
		meaning: "The key, or the address of a request without a good key, has asked for more units than a minute has. Nothing was done.",
		remedy:  "Wait as Retry-After says and send the request again. RateLimit says in every answer what is left: slow down before it is nothing. Ask for many hatches with one batch, keep what does not change, and share one key's minute among all that use it; if that is not enough, ask the shop for another key."}
	problemTooManyStreams = &problem{name: "too-many-streams", status: http.StatusTooManyRequests, title: "Too many streams are open", retry: streamRetry,
		meaning: "The key has as many streams of events open as it may.",
		remedy:  "Close one, or let one stream serve all that want to know: every stream of a key tells the same. Without a stream, webhooks tell it too."}
)

var rateProblems = []*problem{problemTooMany, problemTooManyStreams}
