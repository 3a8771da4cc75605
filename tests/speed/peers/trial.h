/* What every peer is told on stdin, and how it answers: one line a trial,
 *   n terms  start...  y...       (start: c0, then c_j k_j for each term)
 * with times in samples, and back "microseconds c0 c1 k1 ...". The median of
 * several fits is the time. Standalone C, shared by the peers only: no code of
 * the project is in a peer, and none of a peer's libraries in the project. */
#ifndef TRIAL_H
#define TRIAL_H

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

enum { kMostParameters = 5, kMostRepeats = 25 };

struct trial {
  int n, terms, parameters;
  double start[kMostParameters];
  double* y;
};

static inline int read_trial(struct trial* t) {
  if (scanf("%d %d", &t->n, &t->terms) != 2) return 0;
  t->parameters = 1 + 2 * t->terms;
  for (int j = 0; j < t->parameters; ++j)
    if (scanf("%lf", &t->start[j]) != 1) return 0;
  t->y = (double*)malloc(sizeof(double) * (size_t)t->n);
  for (int i = 0; i < t->n; ++i)
    if (scanf("%lf", &t->y[i]) != 1) return 0;
  return 1;
}

static inline double now_us(void) {
  struct timespec at;
  clock_gettime(CLOCK_MONOTONIC, &at);
  return 1e6 * (double)at.tv_sec + 1e-3 * (double)at.tv_nsec;
}

static inline int by_value(const void* a, const void* b) {
  const double x = *(const double*)a, y = *(const double*)b;
  return (x > y) - (x < y);
}

static inline void answer(double* times, int count, const double* p, int parameters) {
  qsort(times, (size_t)count, sizeof *times, by_value);
  printf("%.6f", times[count / 2]);
  for (int j = 0; j < parameters; ++j) printf(" %.17g", p[j]);
  printf("\n");
  fflush(stdout);
}

#endif
