package webhook

import "time"

// Attempts are the waits before each attempt, from the failure before it. The
// first is made at once, the last about five days after it: long enough for a
// weekend's outage. The steps follow the example of the Standard Webhooks
// specification (section "Deliverability and reliability"), with a quick second try
// and longer tail: shop rule.
var Attempts = []time.Duration{
	0,
	5 * time.Second,
	time.Minute,
	5 * time.Minute,
	30 * time.Minute,
	2 * time.Hour,
	5 * time.Hour,
	10 * time.Hour,
	14 * time.Hour,
	20 * time.Hour,
	24 * time.Hour,
	24 * time.Hour,
	24 * time.Hour,
}

// jitter is the share by which a wait may be longer, so that what failed together
// does not come back together.
const jitter = 0.2

// DisableAfter is how long an endpoint may fail without one success before it is
// no longer called: about as long as the attempts of one delivery last.
const DisableAfter = 5 * 24 * time.Hour

// LongestPause bounds how long a receiver can keep calls away by Retry-After: the
// longest wait between two attempts, so that it slows the attempts at most to their
// slowest pace. Shop rule.
const LongestPause = 24 * time.Hour

// Wait is how long to wait after so many failed attempts. random is in [0, 1).
// again is false when there are no attempts left.
//
//	wait = Attempts[failed] × (1 + jitter × random)
func Wait(failed int, random float64) (wait time.Duration, again bool) {
	if failed < 0 || failed >= len(Attempts) {
		return 0, false
	}
	return time.Duration(float64(Attempts[failed]) * (1 + jitter*random)), true
}
