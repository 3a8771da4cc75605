#include "hand/requests.h"

#include <chrono>

namespace pinproof::hand {
namespace {

double now_s() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

class AskedPerson final : public bench::Person {
 public:
  explicit AskedPerson(bench::Console& console) : requests_(console, kReaction_s) {}
  void please(const std::string& kind, const std::string& what,
              const bench::Patience& patience) override {
    requests_.confirm(kind, what, patience);
  }

 private:
  Requests requests_;
};

}  // namespace

std::string Requests::reason(const bench::Patience& patience) {
  while (true) {
    const std::string text = console_.ask("Why is it skipped?", patience);
    if (text.find_first_not_of(' ') != std::string::npos) return "skipped by hand: " + text;
    console_.say("A reason is needed: the record keeps it.");
  }
}

void Requests::leave(bench::KeyPress key, const bench::Patience& patience) {
  if (key == bench::KeyPress::back) throw bench::Detour(bench::DetourKind::back, "");
  if (key == bench::KeyPress::skip || key == bench::KeyPress::skip_all)
    throw bench::Detour(bench::DetourKind::skip, reason(patience));
}

void Requests::confirm(const std::string& kind, const std::string& what,
                       const bench::Patience& patience) {
  if (const auto it = refused_.find(kind); it != refused_.end())
    throw bench::Detour(bench::DetourKind::skip, it->second);
  console_.forget_keys();
  const bench::HandTask task{kind, what};
  const double asked_at_s = now_s();  // before: a busy machine may rest between the two
  console_.task(task);
  while (true) {
    console_.task_waits(task);
    const auto key = console_.key(Duration{1}, patience);
    if (!key) continue;
    if (*key == bench::KeyPress::take && now_s() - asked_at_s < reaction_s_) continue;
    if (*key == bench::KeyPress::take) return;
    if (*key == bench::KeyPress::skip_all) {
      refused_[kind] = reason(patience);
      throw bench::Detour(bench::DetourKind::skip, refused_[kind]);
    }
    leave(*key, patience);
  }
}

std::unique_ptr<bench::Person> person(bench::Console& console) {
  return std::make_unique<AskedPerson>(console);
}

}  // namespace pinproof::hand
