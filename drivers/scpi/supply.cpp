#include <cmath>

#include "quantity/error.h"
#include "quantity/text.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {
namespace {

class ScpiSupply final : public bench::Supply {
 public:
  ScpiSupply(Session session, double most_V, double most_A)
      : session_(std::move(session)), most_V_(most_V), most_A_(most_A) {}

  // Whatever happened before, nobody leaves with the output on.
  ~ScpiSupply() override {
    try {
      if (touched_) off();
    } catch (const Error&) {  // off() already tried twice; a destructor has nobody to tell
    }
  }

  std::string name() const override { return session_.name(); }

  void set(Voltage voltage, Current limit, const bench::Patience& patience) override {
    expect_at_most(voltage.si(), most_V_, Unit::volt);
    expect_at_most(limit.si(), most_A_, Unit::ampere);
    touched_ = true;
    const Dialect& d = session_.dialect();
    session_.command({d.render("current", {{"amperes", limit.si()}}),
                      d.render("voltage", {{"volts", voltage.si()}})},
                     patience);
    confirm("current?", limit.si(), Unit::ampere, patience);
    confirm("voltage?", voltage.si(), Unit::volt, patience);
  }

  void pulse(Duration width, const bench::Patience& patience) override {
    touched_ = true;
    session_.command("pulse_width", {{"seconds", width.si()}}, patience);
    confirm("pulse_width?", width.si(), Unit::second, patience);
    session_.command("pulse", {}, patience);
  }

  void off() override {
    try {
      switch_off();
    } catch (const Error&) {
      session_.close();  // a fresh link; the old one may hold a late reply
      switch_off();
    }
    touched_ = false;
  }

 private:
  void switch_off() {
    // A patience of its own without the stop token: a stop is the very reason to be here.
    const bench::Patience patience{Duration{2.0}};
    session_.command("output", {{"switch", 0.0}}, patience);
    const std::string state = session_.ask("output?", {}, patience);
    if (state != "0")
      throw Error(Fault::bench,
                  session_.name() + ": output is not off: it says \"" + state.substr(0, 20) + "\"");
  }

  void expect_at_most(double value, double most, Unit unit) const {
    if (!(value > 0 && value <= most))
      throw Error(Fault::bench, session_.name() + ": " + format_si(value, unit) +
                                    " was asked of a supply that gives up to " +
                                    format_si(most, unit));
  }

  void confirm(std::string_view query, double wanted, Unit unit, const bench::Patience& patience) {
    const Number said = session_.ask_number(query, {}, patience);
    if (!(std::abs(said.value - wanted) <= 0.005 * wanted + 1e-6))
      throw Error(Fault::bench, session_.name() + ": set to " + format_si(wanted, unit) +
                                    ", it says " + format_si(said.value, unit) +
                                    ": not confirmed, nothing is switched on");
  }

  Session session_;
  double most_V_;
  double most_A_;
  bool touched_ = false;
};

}  // namespace

const Driver kSupply{.role = "supply",
                     .install = [](Session session, const bench::InstrumentDescription& instrument,
                                   const bench::Description&, bench::Instruments& instruments) {
                       instruments.supply = std::make_unique<ScpiSupply>(
                           std::move(session), instrument.max_voltage_V, instrument.max_current_A);
                     }};

}  // namespace pinproof::scpi
