#include "quantity/error.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

constexpr double kNplc = 1;  // power-line cycles a reading: hum cancels over whole cycles

class ScpiMeter final : public bench::Meter {
 public:
  explicit ScpiMeter(Session session) : session_(std::move(session)) {}

  std::string name() const override { return session_.name(); }
  bool can_four_wire() const override { return session_.dialect().has("ohm_4w"); }

  bench::Shown ohms(bool four_wire, double range_ohm, const bench::Patience& patience) override {
    if (four_wire) return read("ohm_4w", "nplc_ohm_4w", "ohm-4w", range_ohm, patience);
    return read("ohm_2w", "nplc_ohm_2w", "ohm-2w", range_ohm, patience);
  }

  bench::Shown volts(double range_V, const bench::Patience& patience) override {
    return read("volt", "nplc_volt", "volt", range_V, patience);
  }

  bench::Shown celsius(const bench::Patience& patience) override {
    configure("temperature", {session_.dialect().render("temperature")}, patience);
    const Number number = session_.ask_number("read", {}, patience);
    return {number.value, number.overload, 0, "temperature"};
  }

 private:
  bench::Shown read(std::string_view function, std::string_view nplc, std::string_view key,
                    double range, const bench::Patience& patience) {
    std::vector<std::string> messages{session_.dialect().render(function, {{"range", range}})};
    if (session_.dialect().has(nplc))
      messages.push_back(session_.dialect().render(nplc, {{"nplc", kNplc}}));
    configure(messages.front(), messages, patience);
    const Number number = session_.ask_number("read", {}, patience);
    return {number.value, number.overload, range, std::string(key)};
  }

  // Only when something changed: most readings repeat the last setting.
  void configure(const std::string& setting, const std::vector<std::string>& messages,
                 const bench::Patience& patience) {
    if (setting == setting_) return;
    setting_.clear();
    session_.command(messages, patience);
    setting_ = setting;
  }

  Session session_;
  std::string setting_;
};

}  // namespace

const Driver kMeter{.role = "meter",
                    .install = [](Session session, const bench::InstrumentDescription&,
                                  const bench::Description&, bench::Instruments& instruments) {
                      instruments.meter = std::make_unique<ScpiMeter>(std::move(session));
                    }};

}  // namespace pinproof::scpi
