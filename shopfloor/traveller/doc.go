// Package traveller is the route card that goes with a batch of like parts through its operations, and the record of
// what was done to them. A Traveller says what shall happen and is written once; what did happen is a list of events,
// and every state shown anywhere is Fold of that list. Nothing is ever changed: a mistake is made void by a new event.
//
// Pieces move one way: they wait at an operation, and a finish takes some of them on as good or out as scrap. Scrap that
// must be made again comes back as a new piece with the same number and an attempt, "O-1001-2-07.2".
//
// An event carries an id that the device made, so that a phone which was out of reach can send it twice: the second is
// no second event. Times are the device's; order is the order of arrival.
//
// Units: s, g, mm. Promises: pieces due and made again = good + scrap + in work after any list of events
// (TestPiecesAreConserved); sending events again, any number of times, changes nothing (TestSentTwice); a
// correction leaves what would have been without the mistake (TestCorrection); what Admit takes, Fold takes
// (TestAdmittedIsFolded).
// Sources: fields of a traveller by common practice of job shops.
// Not here: builds of several travellers (shopfloor/build), weights of lots (shopfloor/feedstock), who may do what.
package traveller
