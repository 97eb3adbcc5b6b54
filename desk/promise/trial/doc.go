// Package trial tries the promise out on whole months of a shop that does not behave as the desk believes.
//
// Orders come in, of unlike kinds, quantities and materials, on an unlike fleet with finishing, people with shifts and
// unattended nights. Each gets a day at its arrival, from what the desk then knows of the floor: estimates, not true
// durations; who and what is at work, not when it will end. The floor takes waiting work by promised day and is played
// out with true durations from laws the desk does not know (Truth): whole machines and materials off for a month,
// orders that turn out far worse than estimated, other odds of failure, breakdowns and more absence than the desk counts on.
//
// Rules that are compared (Ours, Fixed, Queue, Kingman) meet the same orders with the same true durations and the same
// luck (common random numbers), each on a floor of its own, since promised days decide what goes first.
//
// Units: s, business days. Not here: prices, files, pages.
package trial
