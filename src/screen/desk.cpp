#include "screen/desk.h"

#include <chrono>
#include <nlohmann/json.hpp>
#include <utility>

namespace pinproof::screen {
namespace {

using Json = nlohmann::ordered_json;

double now_s() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

std::string line(const Json& json) {
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

Reply json_reply(unsigned status, const Json& body) {
  Reply out;
  out.status = status;
  out.body = line(body);
  return out;
}

Reply error_reply(unsigned status, const std::string& what) {
  return json_reply(status, {{"error", what}});
}

// What the page cannot have meant.
struct Nonsense : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// A reader of one request's body, which refuses what it does not know.
class Body {
 public:
  explicit Body(const std::string& text) {
    json_ = Json::parse(text.empty() ? "{}" : text, nullptr, false);
    if (!json_.is_object()) throw Nonsense("a JSON object is wanted");
  }
  std::string text(const char* key, const std::string& otherwise = "") {
    const auto it = json_.find(key);
    if (it == json_.end()) return otherwise;
    if (!it->is_string()) throw Nonsense(std::string(key) + ": a text is wanted");
    auto out = it->get<std::string>();
    if (out.size() > Desk::kLongestText) throw Nonsense(std::string(key) + ": too long");
    return out;
  }
  bool flag(const char* key) {
    const auto it = json_.find(key);
    if (it == json_.end()) return false;
    if (!it->is_boolean()) throw Nonsense(std::string(key) + ": true or false is wanted");
    return it->get<bool>();
  }
  std::optional<double> number(const char* key, double low, double high) {
    const auto it = json_.find(key);
    if (it == json_.end() || it->is_null()) return std::nullopt;
    if (!it->is_number()) throw Nonsense(std::string(key) + ": a number is wanted");
    const auto out = it->get<double>();
    if (!(out >= low && out <= high)) throw Nonsense(std::string(key) + ": out of range");
    return out;
  }
  std::vector<std::string> texts(const char* key, std::size_t most, std::size_t longest) {
    std::vector<std::string> out;
    const auto it = json_.find(key);
    if (it == json_.end()) return out;
    if (!it->is_array() || it->size() > most) throw Nonsense(std::string(key) + ": a short list");
    for (const auto& one : *it) {
      if (!one.is_string()) throw Nonsense(std::string(key) + ": texts are wanted");
      out.push_back(one.get<std::string>());
      if (out.back().size() > longest) throw Nonsense(std::string(key) + ": too long");
    }
    return out;
  }

 private:
  Json json_;
};

Wish wish_of(const std::string& text) {
  Body body(text);
  Wish out;
  out.work = body.text("work");
  if (out.work != "inspect" && out.work != "diagnose" && out.work != "lever")
    throw Nonsense("work: inspect, diagnose or lever");
  out.profile = body.text("profile"), out.bench = body.text("bench");
  out.serial = body.text("serial"), out.lot = body.text("lot"), out.note = body.text("note");
  const std::string level = body.text("level", "full");
  if (level != "full" && level != "static") throw Nonsense("level: full or static");
  out.only_static = level == "static";
  out.codes = body.texts("codes", 100, 16);
  out.resume = body.text("resume", "no");
  if (out.resume != "no" && out.resume != "go-on" && out.resume != "anew")
    throw Nonsense("resume: no, go-on or anew");
  out.celsius = body.number("celsius", -40, 150);
  return out;
}

std::string offer_json(const Offer& o) {
  Json benches = Json::array(), packs = Json::array();
  for (const auto& b : o.benches)
    benches.push_back({{"name", b.name}, {"by_hand", b.by_hand}, {"drives", b.drives}});
  for (const auto& p : o.packs)
    packs.push_back({{"serial", p.serial}, {"lot", p.lot}, {"says", p.says}});
  return line({{"version", o.version},
               {"demo", o.demo},
               {"ledger", o.ledger},
               {"profiles", o.profiles},
               {"benches", std::move(benches)},
               {"packs", std::move(packs)},
               {"levels", {"full", "static"}},
               {"lots", "/lots"}});
}

unsigned status_of(const Error& error) { return error.fault() == Fault::usage ? 409 : 500; }

const char* fault_name(Fault fault) {
  switch (fault) {
    case Fault::usage:
      return "usage";
    case Fault::aborted:
      return "aborted";
    default:
      return "bench";
  }
}

const std::vector<std::string> kSlotsOfRun{"progress",    "ask",        "live",
                                           "lever_table", "lever_live", "ranking"};

}  // namespace

Desk::Desk(const Offer& offer, const GateOptions& gate, Feed& feed, Works& works)
    : feed_(feed), works_(works), gate_(gate) {
  feed_.set("offer", offer_json(offer));
  tell_state();
  thread_ = std::thread([this] { work(); });
}

Desk::~Desk() {
  {
    const std::lock_guard lock(mutex_);
    end_ = true;
    stop_.request_stop();
  }
  wake_.notify_all();
  thread_.join();
}

Reply Desk::answer(const Request& request) {
  if (auto refused = gate_.refuse(request)) {
    Gate::secure(*refused, false);
    return *std::move(refused);
  }
  Reply out;
  bool page = false;
  try {
    if (request.method == "POST") {
      out = post(request);
    } else {
      page = request.path == "/" || request.path.starts_with("/page/");
      out = get(request);
    }
  } catch (const Nonsense& e) {
    out = error_reply(400, e.what());
  } catch (const Error& e) {
    out = error_reply(status_of(e), e.what());
  }
  Gate::secure(out, page);
  return out;
}

Reply Desk::get(const Request& request) {
  if (auto file = page_file(request.path)) return *std::move(file);
  if (request.path == "/events") {
    Reply out;
    out.type = "text/event-stream";
    out.stream = true;
    return out;
  }
  if (request.path == "/profile") {
    Reply out;
    out.body = works_.profile(request.asked("name"));
    return out;
  }
  if (auto page = works_.page(request)) return *std::move(page);
  return error_reply(404, "there is nothing here");
}

Reply Desk::post(const Request& request) {
  if (request.path == "/stop") return stop();
  if (request.path == "/drive") return drive(request);
  const bool known =
      request.path == "/start" || request.path == "/answer" || request.path == "/release";
  if (!known) return error_reply(404, "there is nothing here");
  const std::string token = request.header("x-pinproof-driver");
  if (!wheel_.holds(token))
    return error_reply(403, "another screen drives, or none: take the bench first");
  if (request.path == "/start") return start(request);
  if (request.path == "/answer") return take_answer(request);
  wheel_.release(token);
  tell_state();
  return json_reply(200, Json::object());
}

Reply Desk::drive(const Request& request) {
  Body body(request.body);
  const std::string screen = body.text("screen");
  if (screen.size() < 16 || screen.size() > 64) throw Nonsense("screen: 16 to 64 characters");
  bool busy = false;
  {
    const std::lock_guard lock(mutex_);
    busy = phase_ != DeskPhase::idle;
  }
  const auto taken = wheel_.take(screen, body.flag("take_over"), busy, now_s(),
                                 request.header("x-pinproof-driver"));
  if (taken.token.empty())
    return json_reply(409, {{"error", "another screen drives"}, {"driver", taken.driver}});
  tell_state();
  return json_reply(200, {{"driver", taken.token}});
}

Reply Desk::start(const Request& request) {
  Wish wish = wish_of(request.body);
  try {
    works_.check(wish);
  } catch (const CutOffStart& e) {
    return json_reply(409, {{"error", e.what()}, {"cut_off", true}});
  }
  std::uint64_t number = 0;
  {
    const std::lock_guard lock(mutex_);
    if (phase_ != DeskPhase::idle) return error_reply(409, "something is being measured already");
    phase_ = DeskPhase::busy;
    number = ++runs_;
    working_ = wish.work;
    stop_ = std::stop_source();
    wish_ = std::move(wish);
  }
  wake_.notify_all();
  tell_state();
  return json_reply(200, {{"run", number}});
}

// Whoever sees the screen may stop: it makes the bench safe.
Reply Desk::stop() {
  {
    const std::lock_guard lock(mutex_);
    if (phase_ == DeskPhase::idle) return error_reply(409, "nothing is being measured");
    phase_ = DeskPhase::stopping;
    stop_.request_stop();
  }
  tell_state();
  return json_reply(200, Json::object());
}

Reply Desk::take_answer(const Request& request) {
  Body body(request.body);
  Answer answer;
  answer.ask = static_cast<std::uint64_t>(body.number("ask", 0, 1e15).value_or(0));
  answer.key = body.text("key");
  answer.text = body.text("text");
  const bool needs_reason = answer.key == "skip" || answer.key == "skip_all";
  if (needs_reason && answer.text.find_first_not_of(" \t\r\n") == std::string::npos)
    throw Nonsense("a reason is needed: the record keeps it");
  answers_.put(std::move(answer));
  return json_reply(200, Json::object());
}

void Desk::on_stream(const Request& request, bool begins) {
  wheel_.seen(request.asked("screen"), begins, now_s());
  {
    const std::lock_guard lock(mutex_);
    watchers_ += begins ? 1 : -1;
  }
  tell_state();
}

void Desk::tell_state() {
  static constexpr const char* kNames[] = {"idle", "busy", "stopping"};
  const std::string driver = wheel_.driver();
  // Under the lock: of two changes the later one must be told last.
  const std::lock_guard lock(mutex_);
  feed_.set("state", line({{"phase", kNames[static_cast<int>(phase_)]},
                           {"driver", driver},
                           {"watchers", watchers_},
                           {"work", working_}}));
}

void Desk::work() {
  std::unique_lock lock(mutex_);
  while (true) {
    wake_.wait(lock, [&] { return end_ || wish_; });
    if (end_) return;
    const Wish wish = *std::exchange(wish_, std::nullopt);
    const std::uint64_t number = runs_;
    lock.unlock();
    run(wish, number);
    lock.lock();
    phase_ = DeskPhase::idle;
    lock.unlock();
    tell_state();
    lock.lock();
  }
}

void Desk::run(const Wish& wish, std::uint64_t number) {
  feed_.begin(kSlotsOfRun);
  answers_.forget();
  try {
    works_.run(wish, number, answers_, stop_.get_token());
  } catch (const Error& e) {
    feed_.add("failed", failed_json(fault_name(e.fault()), e.what()));
  } catch (const std::exception& e) {
    feed_.add("failed", failed_json("program", e.what()));
  }
  feed_.set("ask", ask_json({}));
}

}  // namespace pinproof::screen
