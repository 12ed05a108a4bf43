// Package rcpsp schedules a project of activities under several renewable
// resources in integer time: the resource-constrained project scheduling
// problem, PS|prec|Cmax. Its tests hold it to published instances. It is apart from the
// shop's own serial generation and its search, which share no code with it; the service
// does not use it yet.
//
// Units: time in whole periods, demands and capacities in whole units. An
// activity that starts at s and lasts d is active in periods s .. s+d-1.
//
// It refuses, with typed errors: a cycle, a negative duration or demand, a
// demand above the capacity, a horizon over MaxHorizon periods.
//
// Sources: R. Kolisch, European Journal of Operational Research 90 (1996)
// 320-333 (generation schemes, regret-based sampling); S. Hartmann, Naval
// Research Logistics 45 (1998) 733-750 (activity-list genetic algorithm);
// V. Valls, F. Ballestin, S. Quintanilla, European Journal of Operational
// Research 165 (2005) 375-386 (justification). All from memory.
package rcpsp
