/* Levenberg-Marquardt of the GNU Scientific Library, analytic Jacobian. */
#include <gsl/gsl_blas.h>
#include <gsl/gsl_multifit_nlinear.h>
#include <math.h>
#include <string.h>

#include "trial.h"

static int residuals(const gsl_vector* x, void* data, gsl_vector* f) {
  const struct trial* t = (const struct trial*)data;
  for (int i = 0; i < t->n; ++i) {
    double value = gsl_vector_get(x, 0) - t->y[i];
    for (int j = 1; j < t->parameters; j += 2)
      value += gsl_vector_get(x, (size_t)j) * exp(-gsl_vector_get(x, (size_t)j + 1) * i);
    gsl_vector_set(f, (size_t)i, value);
  }
  return GSL_SUCCESS;
}

static int jacobian(const gsl_vector* x, void* data, gsl_matrix* out) {
  const struct trial* t = (const struct trial*)data;
  for (int i = 0; i < t->n; ++i) {
    gsl_matrix_set(out, (size_t)i, 0, 1);
    for (int j = 1; j < t->parameters; j += 2) {
      const double e = exp(-gsl_vector_get(x, (size_t)j + 1) * i);
      gsl_matrix_set(out, (size_t)i, (size_t)j, e);
      gsl_matrix_set(out, (size_t)i, (size_t)j + 1, -gsl_vector_get(x, (size_t)j) * i * e);
    }
  }
  return GSL_SUCCESS;
}

static void fit(struct trial* t, double* p) {
  gsl_multifit_nlinear_parameters how = gsl_multifit_nlinear_default_parameters();
  how.solver = gsl_multifit_nlinear_solver_cholesky;
  gsl_multifit_nlinear_fdf fdf;
  memset(&fdf, 0, sizeof fdf);
  fdf.f = residuals, fdf.df = jacobian, fdf.params = t;
  fdf.n = (size_t)t->n, fdf.p = (size_t)t->parameters;
  gsl_multifit_nlinear_workspace* w =
      gsl_multifit_nlinear_alloc(gsl_multifit_nlinear_trust, &how, fdf.n, fdf.p);
  gsl_vector_const_view start = gsl_vector_const_view_array(t->start, fdf.p);
  int info;
  gsl_multifit_nlinear_init(&start.vector, &fdf, w);
  gsl_multifit_nlinear_driver(200, 1e-9, 1e-12, 0, NULL, NULL, &info, w);
  const gsl_vector* x = gsl_multifit_nlinear_position(w);
  for (int j = 0; j < t->parameters; ++j) p[j] = gsl_vector_get(x, (size_t)j);
  gsl_multifit_nlinear_free(w);
}

int main(void) {
  struct trial t;
  while (read_trial(&t)) {
    double times[kMostRepeats], p[kMostParameters];
    const int repeats = t.n > 5000 ? 5 : kMostRepeats;
    for (int r = 0; r < repeats; ++r) {
      const double from = now_us();
      fit(&t, p);
      times[r] = now_us() - from;
    }
    answer(times, repeats, p, t.parameters);
    free(t.y);
  }
  return 0;
}
