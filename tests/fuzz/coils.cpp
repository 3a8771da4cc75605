#include "coils.h"

#include <cmath>

#include "targets.h"
#include "waveform/causes.h"
#include "waveform/duty.h"
#include "waveform/magnetics.h"
#include "waveform/margin.h"

namespace pinproof::fuzz {
namespace {

void expect_figures(const waveform::Capture& capture, const waveform::CoilFigures& f) {
  if (f.status == waveform::Status::ok)
    expect(f.resistance_ohm.usable() && f.resistance_ohm.value > 0, "ok: there is a resistance");
  for (const Estimate* one : {&f.resistance_ohm, &f.inductance_H, &f.time_constant_s,
                              &f.final_current_A, &f.release_s, &f.clamp_V})
    expect(!std::isfinite(one->value) || std::isnan(one->u) || one->u >= 0, "u has no sign");
  expect(f.fit.samples <= capture.current_A.size(), "no more samples than there are");
  expect(f.noise_A >= 0 || std::isnan(f.noise_A), "noise has no sign");
  // Of a dip that is one sample deep either can come first, by less than is known of them.
  if (f.pull_in && f.current_peak)
    expect(f.pull_in->at_s >= f.current_peak->at_s - capture.interval_s -
                                  3 * (f.pull_in->u_s + f.current_peak->u_s),
           "the valley follows the peak");
}

void expect_findings(const std::vector<waveform::CoilFinding>& findings) {
  for (const auto& one : findings)
    expect(one.probability >= 0 && one.probability <= 1 + 1e-9 && !one.text.empty(),
           "a finding's probability", one.kind);
}

}  // namespace

void study_coil(const waveform::Capture& capture, const waveform::AnalysisOptions& options) {
  if (waveform::looks_modulated(capture)) (void)waveform::analyse_duty(capture);
  const auto figures = waveform::analyse(capture, options);
  expect_figures(capture, figures);
  (void)waveform::magnetics_of(capture, options, figures);
  (void)waveform::margin_at(figures, 10, {1.3, 0.01});
  const auto rest = waveform::rest_current(capture, options, figures);
  expect(rest.first + rest.current_A.size() <= capture.current_A.size(), "inside the capture");
  const Estimate unity{1, 0.01};
  expect_findings(waveform::explain(figures, unity, {}));
  const std::vector<waveform::GoodCapture> good{{figures, unity}};
  expect_findings(waveform::explain(figures, unity, waveform::learn_expected(good)));
}

}  // namespace pinproof::fuzz
