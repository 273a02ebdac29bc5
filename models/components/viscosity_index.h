/* Oil by its ISO viscosity grade and its viscosity index: what it measures at 40 and at 100 degC, mm2/s.
 *
 * Grade: ISO 3448, whose limits lie 10 % either side of the mid-point (ASTM D2422 4.3). Mid-points read in a secondary
 * chart that lists minimum, mid-point and maximum of 18 grades.
 *
 * Index: ASTM D2270 (ISO 2909). With Y at 100 degC and U at 40 degC, L and H the viscosities at 40 degC of oils of
 * index 0 and 100 that have the same Y: procedure A (index up to 100) VI = 100 (L - U)/(L - H); procedure B (above) VI
 * = 100 + (10^N - 1)/0.00715 with Y^N = H/U. L and H: from 2 to 70 mm2/s the standard's table 1, in straight lines
 * between its points, as the standard asks; above 70 mm2/s its equations L = 0.8353 Y^2 + 14.67 Y - 216 and
 * H = 0.1684 Y^2 + 11.85 Y - 97. Procedures, equations and worked examples read in two editions of D2270; the table as
 * transcribed from D2270-10 (2016) in an open library of property data, held against the examples (P1.1, P1.2), the
 * first and the last row of the standard's own quadratic fit (X2.1) and for smoothness. Below Y = 2 the index is not
 * defined.
 *
 * All of it is asked at preparation only, never in a step. */
#ifndef SWASHLOOP_MODELS_VISCOSITY_INDEX_H
#define SWASHLOOP_MODELS_VISCOSITY_INDEX_H

#include <stdbool.h>

#include "real.h"

/* The table's Y: 2.0 to 20.0 by 0.1, to 30.0 by 0.2, to 70.0 by 0.5. */
enum { VISCOSITY_INDEX_FINE = 180, VISCOSITY_INDEX_MIDDLE = 230, VISCOSITY_INDEX_ROWS = 311 };

#define VISCOSITY_INDEX_LEAST 2.0 /* mm2/s at 100 degC */
#define VISCOSITY_INDEX_TABLE_END 70.0

enum { VISCOSITY_GRADES = 18 };
static const double viscosity_grade_middle[VISCOSITY_GRADES] = {
    2.2, 3.2, 4.6, 6.8, 10.0, 15.0, 22.0, 32.0, 46.0, 68.0, 100.0, 150.0, 220.0, 320.0, 460.0, 680.0, 1000.0, 1500.0};
#define VISCOSITY_GRADE_TOLERANCE 0.1

/* clang-format off */
static const double viscosity_index_l[VISCOSITY_INDEX_ROWS] = {
    7.994, 8.64, 9.309, 10.0, 10.71, 11.45, 12.21, 13.0, 13.8, 14.63, 15.49, 16.36, 17.26, 18.18, 19.12, 20.09, 21.08,
    22.09, 23.13, 24.19, 25.32, 26.5, 27.75, 29.07, 30.48, 31.96, 33.52, 35.13, 36.79, 38.5, 40.23, 41.99, 43.76,
    45.53, 47.31, 49.09, 50.87, 52.64, 54.42, 56.2, 57.97, 59.74, 61.52, 63.32, 65.18, 67.12, 69.16, 71.29, 73.48,
    75.72, 78.0, 80.25, 82.39, 84.53, 86.66, 88.85, 91.04, 93.2, 95.43, 97.72, 100.0, 102.3, 104.6, 106.9, 109.2,
    111.5, 113.9, 116.2, 118.5, 120.9, 123.3, 125.7, 128.0, 130.4, 132.8, 135.3, 137.7, 140.1, 142.7, 145.2, 147.7,
    150.3, 152.9, 155.4, 158.0, 160.6, 163.2, 165.8, 168.5, 171.2, 173.9, 176.6, 179.4, 182.1, 184.9, 187.6, 190.4,
    193.3, 196.2, 199.0, 201.9, 204.8, 207.8, 210.7, 213.6, 216.6, 219.6, 222.6, 225.7, 228.8, 231.9, 235.0, 238.1,
    241.2, 244.3, 247.4, 250.6, 253.8, 257.0, 260.1, 263.3, 266.6, 269.8, 273.0, 276.3, 279.6, 283.0, 286.4, 289.7,
    293.0, 296.5, 300.0, 303.4, 306.9, 310.3, 313.9, 317.5, 321.1, 324.6, 328.3, 331.9, 335.5, 339.2, 342.9, 346.6,
    350.3, 354.1, 358.0, 361.7, 365.6, 369.4, 373.3, 377.1, 381.0, 384.9, 388.9, 392.7, 396.7, 400.7, 404.6, 408.6,
    412.6, 416.7, 420.7, 424.9, 429.0, 433.2, 437.3, 441.5, 445.7, 449.9, 454.2, 458.4, 462.7, 467.0, 471.3, 475.7,
    479.7, 483.9, 488.6, 493.2, 501.5, 510.8, 519.9, 528.8, 538.4, 547.5, 556.7, 566.4, 575.6, 585.2, 595.0, 604.3,
    614.2, 624.1, 633.6, 643.4, 653.8, 663.3, 673.7, 683.9, 694.5, 704.2, 714.9, 725.7, 736.5, 747.2, 758.2, 769.3,
    779.7, 790.4, 801.6, 812.8, 824.1, 835.5, 847.0, 857.5, 869.0, 880.6, 892.3, 904.1, 915.8, 927.6, 938.6, 951.2,
    963.4, 975.4, 987.1, 998.9, 1011.0, 1023.0, 1055.0, 1086.0, 1119.0, 1151.0, 1184.0, 1217.0, 1251.0, 1286.0,
    1321.0, 1356.0, 1391.0, 1427.0, 1464.0, 1501.0, 1538.0, 1575.0, 1613.0, 1651.0, 1691.0, 1730.0, 1770.0, 1810.0,
    1851.0, 1892.0, 1935.0, 1978.0, 2021.0, 2064.0, 2108.0, 2152.0, 2197.0, 2243.0, 2288.0, 2333.0, 2380.0, 2426.0,
    2473.0, 2521.0, 2570.0, 2618.0, 2667.0, 2717.0, 2767.0, 2817.0, 2867.0, 2918.0, 2969.0, 3020.0, 3073.0, 3126.0,
    3180.0, 3233.0, 3286.0, 3340.0, 3396.0, 3452.0, 3507.0, 3563.0, 3619.0, 3676.0, 3734.0, 3792.0, 3850.0, 3908.0,
    3966.0, 4026.0, 4087.0, 4147.0, 4207.0, 4268.0, 4329.0, 4392.0, 4455.0, 4517.0, 4580.0, 4645.0, 4709.0, 4773.0,
    4839.0, 4905.0};

static const double viscosity_index_h[VISCOSITY_INDEX_ROWS] = {
    6.394, 6.894, 7.41, 7.944, 8.496, 9.063, 9.647, 10.25, 10.87, 11.5, 12.15, 12.82, 13.51, 14.21, 14.93, 15.66,
    16.42, 17.19, 17.97, 18.77, 19.56, 20.37, 21.21, 22.05, 22.92, 23.81, 24.71, 25.63, 26.57, 27.53, 28.49, 29.46,
    30.43, 31.4, 32.37, 33.34, 34.32, 35.29, 36.26, 37.23, 38.19, 39.17, 40.15, 41.13, 42.14, 43.18, 44.24, 45.33,
    46.44, 47.51, 48.57, 49.61, 50.69, 51.78, 52.88, 53.98, 55.09, 56.2, 57.31, 58.45, 59.6, 60.74, 61.89, 63.05,
    64.18, 65.32, 66.48, 67.64, 68.79, 69.94, 71.1, 72.27, 73.42, 74.57, 75.73, 76.91, 78.08, 79.27, 80.46, 81.67,
    82.87, 84.08, 85.3, 86.51, 87.72, 88.95, 90.19, 91.4, 92.65, 93.92, 95.19, 96.45, 97.71, 98.97, 100.2, 101.5,
    102.8, 104.1, 105.4, 106.7, 108.0, 109.4, 110.7, 112.0, 113.3, 114.7, 116.0, 117.4, 118.7, 120.1, 121.5, 122.9,
    124.2, 125.6, 127.0, 128.4, 129.8, 131.2, 132.6, 134.0, 135.4, 136.8, 138.2, 139.6, 141.0, 142.4, 143.9, 145.3,
    146.8, 148.2, 149.7, 151.2, 152.6, 154.1, 155.6, 157.0, 158.6, 160.1, 161.6, 163.1, 164.6, 166.1, 167.7, 169.2,
    170.7, 172.3, 173.8, 175.4, 177.0, 178.6, 180.2, 181.7, 183.3, 184.9, 186.5, 188.1, 189.7, 191.3, 192.9, 194.6,
    196.2, 197.8, 199.4, 201.0, 202.6, 204.3, 205.9, 207.6, 209.3, 211.0, 212.7, 214.4, 216.1, 217.7, 219.4, 221.1,
    222.8, 224.5, 226.2, 227.7, 229.5, 233.0, 236.4, 240.1, 243.5, 247.1, 250.7, 254.2, 257.8, 261.5, 264.9, 268.6,
    272.3, 275.8, 279.6, 283.3, 286.8, 290.5, 294.4, 297.9, 301.8, 305.6, 309.4, 313.0, 317.0, 320.9, 324.9, 328.8,
    332.7, 336.7, 340.5, 344.4, 348.4, 352.3, 356.4, 360.5, 364.6, 368.3, 372.3, 376.4, 380.6, 384.6, 388.8, 393.0,
    396.6, 401.1, 405.3, 409.5, 413.5, 417.6, 421.7, 432.4, 443.2, 454.0, 464.9, 475.9, 487.0, 498.1, 509.6, 521.1,
    532.5, 544.0, 555.6, 567.1, 579.3, 591.3, 603.1, 615.0, 627.1, 639.2, 651.8, 664.2, 676.6, 689.1, 701.9, 714.9,
    728.2, 741.3, 754.4, 767.6, 780.9, 794.5, 808.2, 821.9, 835.5, 849.2, 863.0, 876.9, 890.9, 905.3, 919.6, 933.6,
    948.2, 962.9, 977.5, 992.1, 1007.0, 1021.0, 1036.0, 1051.0, 1066.0, 1082.0, 1097.0, 1112.0, 1127.0, 1143.0,
    1159.0, 1175.0, 1190.0, 1206.0, 1222.0, 1238.0, 1254.0, 1270.0, 1286.0, 1303.0, 1319.0, 1336.0, 1352.0, 1369.0,
    1386.0, 1402.0, 1419.0, 1436.0, 1454.0, 1471.0, 1488.0, 1506.0, 1523.0, 1541.0, 1558.0};
/* clang-format on */

/* L or H at Y, mm2/s, from its table and its equation a Y^2 + b Y + c. */
static inline double viscosity_index_column(const double *table, double y, double a, double b, double c) {
  if (y > VISCOSITY_INDEX_TABLE_END) {
    return (a * y + b) * y + c;
  }
  double place = y < 20.0   ? (y - 2.0) / 0.1
                 : y < 30.0 ? (double)VISCOSITY_INDEX_FINE + (y - 20.0) / 0.2
                            : (double)VISCOSITY_INDEX_MIDDLE + (y - 30.0) / 0.5;
  int row = (int)clamp(place, 0.0, (double)(VISCOSITY_INDEX_ROWS - 2));
  return blend(table[row], table[row + 1], place - (double)row);
}

/* L of ISO 2909 at viscosity y at 100 degC, both mm2/s: an oil of index 0. */
static inline double viscosity_index_l_at(double y) {
  return viscosity_index_column(viscosity_index_l, y, 0.8353, 14.67, -216.0);
}

/* H: an oil of index 100. */
static inline double viscosity_index_h_at(double y) {
  return viscosity_index_column(viscosity_index_h, y, 0.1684, 11.85, -97.0);
}

/* The index of an oil, not rounded. U and Y in mm2/s, Y at least 2. */
static inline double viscosity_index_of(double u, double y) {
  double h = viscosity_index_h_at(y);
  if (u >= h) {
    double l = viscosity_index_l_at(y);
    return 100.0 * (l - u) / (l - h);
  }
  return 100.0 + (real_exp(real_log(10.0) * real_log(h / u) / real_log(y)) - 1.0) / 0.00715;
}

/* U of an oil of this index, mm2/s: the same turned round. Rises with Y. */
static inline double viscosity_at_40_for(double index, double y) {
  double h = viscosity_index_h_at(y);
  if (index <= 100.0) {
    double l = viscosity_index_l_at(y);
    return l - 0.01 * index * (l - h);
  }
  return h / real_power(y, real_log10(1.0 + 0.00715 * (index - 100.0)));
}

/* Y of an oil of this index and this U, mm2/s, by bisection; NaN where the index is not defined (Y below 2). */
static inline double viscosity_at_100_for(double index, double u) {
  double low = VISCOSITY_INDEX_LEAST;
  double high = 1000.0;
  if (!(viscosity_at_40_for(index, low) <= u && u <= viscosity_at_40_for(index, high))) {
    return NAN;
  }
  double middle = 0.5 * (low + high);
  while (middle > low && middle < high) {
    if (viscosity_at_40_for(index, middle) < u) {
      low = middle;
    } else {
      high = middle;
    }
    middle = 0.5 * (low + high);
  }
  return 0.5 * (low + high);
}

/* Is this the mid-point of a grade of ISO 3448? */
static inline bool viscosity_is_grade(double middle) {
  for (int i = 0; i < VISCOSITY_GRADES; i++) {
    if (fabs(middle - viscosity_grade_middle[i]) <= 1e-9 * middle) {
      return true;
    }
  }
  return false;
}

#endif
