// Digitisers with a sweep of points at an interval, SCPI-99 vol. 2.
#include <cmath>

#include "quantity/error.h"
#include "scpi/instruments.h"
#include "scpi/scope.h"

namespace pinproof::scpi {
namespace {

class ScpiDigitiser final : public bench::Digitiser {
 public:
  ScpiDigitiser(Session session, const bench::Fixture& fixture)
      : session_(std::move(session)),
        probe_{fixture.probe_channel},
        shunt_{fixture.shunt.channel},
        supply_{fixture.supply_channel} {}

  std::string name() const override { return session_.name(); }

  void arm(const bench::SweepSetup& setup, const bench::Patience& patience) override {
    const Dialect& d = session_.dialect();
    std::vector<std::string> messages{
        d.render("format"), d.render("points", {{"count", static_cast<double>(setup.points)}}),
        d.render("interval", {{"seconds", setup.interval.si()}}),
        // Points before the trigger are a negative offset of the sweep, SCPI-99 vol. 2,
        // SWEep:OFFSet.
        d.render("pretrigger", {{"count", -static_cast<double>(setup.pretrigger)}}),
        d.render("range", {{"range", setup.probe_range.si()}, {"channels", probe_}}),
        d.render("range", {{"range", setup.shunt_range.si()}, {"channels", shunt_}}),
        d.render("range", {{"range", setup.supply_range.si()}, {"channels", supply_}}),
        d.render("trigger_source"), d.render("trigger_level", {{"volts", kTriggerLevel_V}})};
    session_.command(messages, patience);
    interval_ = expect_interval(session_, "interval?", setup.interval, patience);
    points_ = setup.points;
    // No *OPC? here: an armed sweep is not complete before the pulse.
    session_.start("arm", patience);
  }

  bench::Sweep fetch(const bench::Patience& patience) override {
    bench::Sweep out;
    out.interval = interval_;
    out.probe_V = channel(probe_, patience);
    out.shunt_V = channel(shunt_, patience);
    out.supply_V = channel(supply_, patience);
    return out;
  }

 private:
  std::vector<double> channel(const std::vector<std::string>& which,
                              const bench::Patience& patience) {
    auto samples = session_.ask_floats("fetch", {{"channels", which}}, points_, patience);
    expect_samples(session_, which.front(), samples, points_);
    return samples;
  }

  Session session_;
  std::vector<std::string> probe_, shunt_, supply_;
  Duration interval_;
  std::size_t points_ = 0;
};

}  // namespace

// The actual rate is read back: an instrument that samples otherwise than asked
// would put every time constant wrong.
Duration expect_interval(Session& session, std::string_view query, Duration wanted,
                         const bench::Patience& patience) {
  const Duration is{session.ask_number(query, {}, patience).value};
  if (!(abs(is - wanted) <= 0.5 * wanted))
    throw Error(Fault::bench, session.name() + ": asked for a sample every " +
                                  std::to_string(wanted.si()) + " s, it samples every " +
                                  std::to_string(is.si()) + " s");
  return is;
}

void expect_samples(Session& session, const std::string& channel,
                    const std::vector<double>& samples, std::size_t points) {
  if (samples.size() != points)
    throw Error(Fault::bad_reply, session.name() + ": channel " + channel + ": " +
                                      std::to_string(samples.size()) + " samples came, " +
                                      std::to_string(points) + " were asked for");
  for (const double v : samples)
    if (!std::isfinite(v))
      throw Error(Fault::bad_reply, session.name() + ": a sample that is not a number");
}

const Driver kDigitiser{
    .role = "digitiser",
    .needs = {"identify", "clear", "arm", "trigger_level"},
    .install = [](Session session, const bench::InstrumentDescription&,
                  const bench::Description& bench, bench::Instruments& instruments) {
      if (session.dialect().has("waveform"))
        instruments.digitiser = make_scope(std::move(session), bench.fixture);
      else
        instruments.digitiser = std::make_unique<ScpiDigitiser>(std::move(session), bench.fixture);
    }};

}  // namespace pinproof::scpi
