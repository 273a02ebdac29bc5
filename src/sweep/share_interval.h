/* How sure a share is that was counted: intervals of 95 % for the probability behind it. */
#ifndef SWASHLOOP_SWEEP_SHARE_INTERVAL_H
#define SWASHLOOP_SWEEP_SHARE_INTERVAL_H

/* Standard deviations of a normal distribution that hold 95 % between them on either side. */
#define SHARE_DEVIATIONS 1.959963984540054

/* Ends of Wilson's score interval for `hits` of `count` draws that do not depend on each other (E. B. Wilson 1927);
 * count > 0. */
double share_interval_low(double hits, double count);
double share_interval_high(double hits, double count);

#endif
