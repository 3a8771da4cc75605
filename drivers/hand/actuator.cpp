#include "hand/actuator.h"

#include <utility>

#include "hand/requests.h"
#include "quantity/text.h"

namespace pinproof::hand {
namespace {

constexpr double kPascalPerPsi = 6894.757;

class HandActuator final : public bench::Actuator {
 public:
  HandActuator(bench::Console& console, Confirm confirm)
      : console_(console), confirm_(std::move(confirm)) {}

  void lever(std::size_t, const std::string& name, const bench::Patience& patience) override {
    confirm_("lever positions", "Move the lever to " + name + ".", patience);
  }

  void air(const std::vector<std::string>& elements, Pressure pressure,
           const bench::Patience& patience) override {
    if (elements.empty()) {
      const std::string what = "Shut the air off and vent it.";
      // On the way out nobody is waited for.
      if (on_ && !patience.stop().stop_possible()) console_.say(what);
      if (on_ && patience.stop().stop_possible()) confirm_("venting", what, patience);
      on_ = false;
      return;
    }
    std::string names;
    for (const std::string& element : elements) names += (names.empty() ? "" : " and ") + element;
    confirm_("air tests",
             "CAUTION: compressed air and oil mist: eye protection, and a regulator that cannot "
             "give more.\nApply " +
                 format_si(pressure.si(), Unit::pascal, 3) + " (" +
                 format_si(pressure.si() / kPascalPerPsi, Unit::none, 3) + " psi) of air to " +
                 names + " and hold it there.",
             patience);
    on_ = true;
  }
  std::optional<Pressure> measured(const bench::Patience&) override { return std::nullopt; }
  bool by_hand() const override { return true; }

 private:
  bench::Console& console_;
  Confirm confirm_;
  bool on_ = false;
};

}  // namespace

std::unique_ptr<bench::Actuator> actuator(bench::Console& console, Confirm confirm) {
  return std::make_unique<HandActuator>(console, std::move(confirm));
}

std::unique_ptr<bench::Actuator> actuator(bench::Console& console) {
  const auto requests = std::make_shared<Requests>(console, kReaction_s);
  return actuator(console, [requests](const std::string& kind, const std::string& what,
                                      const bench::Patience& patience) {
    requests->confirm(kind, what, patience);
  });
}

}  // namespace pinproof::hand
