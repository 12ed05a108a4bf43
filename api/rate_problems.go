package api

import "net/http"

// busyRetry is what is told to wait for a search, seconds: most end within one.
const busyRetry = 2

// Problems of asking for too much.
var (
	problemTooMany = listed(problem{name: "too-many-requests", status: http.StatusTooManyRequests, title: "Too much at once",
		meaning: "The key, or the address of a request without a good key, has asked for more units than a minute has. Nothing was done.",
		remedy:  "Wait as Retry-After says and send the request again. RateLimit says in every answer what is left: slow down before it is nothing. Ask for many hatches with one batch, keep what does not change, and share one key's minute among all that use it; if that is not enough, ask the shop for another key."})
	problemQuotaSpent = listed(problem{name: "quota-spent", status: http.StatusTooManyRequests, title: "The quota of the day is spent",
		meaning: "The key has a quota of units a day (UTC), which it shares with the keys that it was rotated from and into, and what is left of it is less than the request costs. Nothing was done.",
		remedy:  "Wait until the day is over: Retry-After says how long, and RateLimit what is left until then. A request that costs more than the whole quota never gets through: send fewer configurations at once. The shop can make a key with a larger quota."})
	problemBusy = listed(problem{name: "busy", status: http.StatusServiceUnavailable, title: "Too many searches at once", retry: busyRetry,
		meaning: "Limits, automatic schedules and packets take a while, so only so many are worked on at once, and the turn of this one did not come within two seconds. Nothing was done.",
		remedy:  "Wait as Retry-After says and send the request again. What needs no search is answered all the while: a check or a derivation with the shop's standard schedule."})
	problemTooManyStreams = listed(problem{name: "too-many-streams", status: http.StatusTooManyRequests, title: "Too many streams are open", retry: streamRetry,
		meaning: "The key has as many streams of events open as it may.",
		remedy:  "Close one, or let one stream serve all that want to know: every stream of a key tells the same. Without a stream, webhooks tell it too."})
)
