package api

import "net/http"

// The problems of whoever receives calls: the service has their pages, and answers
// with none of them. Package openapi/receiver does.
var (
	_ = listed(problem{name: "webhook-unsigned", status: http.StatusUnauthorized, title: "The call is not signed",
		meaning: "A receiver got a call without webhook-id, webhook-timestamp or webhook-signature, or with a time that is no count of seconds. The service signs all of its calls.",
		remedy:  "Let proxies in front of the receiver pass the three headers on unchanged. If it is nobody's proxy, somebody else is calling: refuse."})
	_ = listed(problem{name: "webhook-signature", status: http.StatusUnauthorized, title: "The signature does not verify",
		meaning: "A receiver got a call whose signature is by none of the secrets that it has, over this id, this time and these bytes.",
		remedy:  "Verify the bytes of the body as they came, before anything reads or rewrites them. Take the secret that was shown when the endpoint was added or its secret last changed; the older one signs for a day beside it. If it is lost, POST /v1/webhooks/{id}/secret makes another."})
	_ = listed(problem{name: "webhook-clock-skew", status: http.StatusBadRequest, title: "Signed too far from the clock of the receiver",
		meaning: "A receiver got a well signed call, whose webhook-timestamp is further from its clock than it tolerates (five minutes unless it says otherwise). Each attempt is signed with its own time, so an honest call is never old.",
		remedy:  "Compare the receiver's clock with another (NTP). If it is right, the call was held up or recorded: refuse it. The service makes another attempt, signed with the time of that attempt, or resend the delivery when the clock is right."})
	_ = listed(problem{name: "webhook-replayed", status: http.StatusConflict, title: "The call was dealt with already",
		meaning: "A receiver got a well signed call whose webhook-id it has dealt with. The service delivers at least once and sends what was not answered in time again, under the same id; somebody who recorded a call can send it too.",
		remedy:  "Do nothing with it a second time, and answer 2xx: any other answer makes an honest repetition come again, and holds back the later events of its order."})
	_ = listed(problem{name: "webhook-in-hand", status: http.StatusServiceUnavailable, title: "The same call is being dealt with",
		meaning: "A receiver got a call again while it was still at work on the first: it took longer than the 15 seconds that a call may take.",
		remedy:  "Answer first and work afterwards. The service tries again by itself; when the work is done by then, it is answered as a repetition."})
	_ = listed(problem{name: "webhook-not-an-event", status: http.StatusBadRequest, title: "The body is no event",
		meaning: "A receiver got a well signed call whose body does not read as an event, or as another than webhook-id names.",
		remedy:  "Generate the receiver's models from this service's /openapi.json: Event is the body of a call. New types and new members may come at any time and are to be passed over. If the models are fresh, tell the shop the webhook-id."})
)
