#include <algorithm>
#include <cmath>

#include "quantity/error.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

constexpr double kNplc = 1;  // power-line cycles a reading: hum cancels over whole cycles
// Thermal voltages are a few microvolts: they matter where the test current is a
// milliampere, which is where offset compensation exists.
constexpr Resistance kCompensateUpTo{1e4};

class ScpiMeter final : public bench::Meter {
 public:
  explicit ScpiMeter(Session session)
      : session_(std::move(session)), nplc_(nearest_nplc(session_.dialect().nplc_steps())) {}

  std::string name() const override { return session_.name(); }
  bool can_four_wire() const override { return session_.dialect().has("ohm_4w"); }
  bool can_celsius() const override { return session_.dialect().has("temperature"); }

  bench::ShownOhms ohms(bool four_wire, Resistance range,
                        const bench::Patience& patience) override {
    const bool compensate = range <= kCompensateUpTo;
    if (four_wire) return read("ohm_4w", "ohm-4w", range, compensate, patience);
    return read("ohm_2w", "ohm-2w", range, compensate, patience);
  }

  bench::ShownVolts volts(Voltage range, const bench::Patience& patience) override {
    return read("volt", "volt", range, false, patience);
  }

  bench::ShownCelsius celsius(const bench::Patience& patience) override {
    configure({session_.dialect().render("temperature")}, patience);
    const Number number = take(patience);
    return {Temperature::celsius(number.value), number.overload, {}, "temperature"};
  }

 private:
  // Whole cycles only: the smallest step from one upwards.
  static double nearest_nplc(const std::vector<double>& steps) {
    double out = 0;
    for (const double step : steps)
      if (step >= kNplc && (out == 0 || step < out)) out = step;
    if (out == 0 && !steps.empty()) out = *std::max_element(steps.begin(), steps.end());
    return out == 0 ? kNplc : out;
  }

  // What a dialect does not have is left out: function and range are all that a
  // reading needs, the rest makes it better.
  template <class Measurand>
  bench::Shown<Measurand> read(const std::string& function, const std::string& key, Measurand range,
                               bool compensate, const bench::Patience& patience) {
    const Dialect& d = session_.dialect();
    std::vector<std::string> messages{d.render(function, {{"range", range.si()}})};
    const auto add = [&](const std::string& operation, const Arguments& arguments) {
      if (d.has(operation)) messages.push_back(d.render(operation, arguments));
    };
    add("range_" + function, {{"range", range.si()}});
    add("nplc_" + function, {{"nplc", nplc_}});
    add("autozero_" + function, {{"switch", 1.0}});
    add("offset_compensation_" + function, {{"switch", compensate ? 1.0 : 0.0}});
    configure(messages, patience);
    const Number number = take(patience);
    return {Measurand(number.value), number.overload, range, key};
  }

  // Meters without READ? are triggered and then asked.
  Number take(const bench::Patience& patience) {
    if (session_.dialect().has("read")) return session_.ask_number("read", {}, patience);
    if (session_.dialect().has("trigger")) session_.start("trigger", patience);
    return session_.ask_number("fetch", {}, patience);
  }

  // Only when something changed: most readings repeat the last setting.
  void configure(const std::vector<std::string>& messages, const bench::Patience& patience) {
    if (messages == setting_) return;
    setting_.clear();
    session_.command(messages, patience);
    setting_ = messages;
  }

  Session session_;
  double nplc_;
  std::vector<std::string> setting_;
};

}  // namespace

const Driver kMeter{.role = "meter",
                    .needs = {"identify", "clear", "ohm_2w"},
                    .install = [](Session session, const bench::InstrumentDescription&,
                                  const bench::Description&, bench::Instruments& instruments) {
                      instruments.meter = std::make_unique<ScpiMeter>(std::move(session));
                    }};

}  // namespace pinproof::scpi
