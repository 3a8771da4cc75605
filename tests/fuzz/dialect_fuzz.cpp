// A dialect file, a line of NUL, then messages: any bytes load or are refused, what loads matches
// any text, and a message that it renders is one that it knows.
#include "profile/load.h"
#include "scpi/dialect.h"
#include "simulated/instruments.h"
#include "simulated/world.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

constexpr int kMostMessages = 16;

const scpi::Arguments& usual_arguments() {
  static const scpi::Arguments kUsual{
      {"range", 100.0},  {"nplc", 1.0},
      {"seconds", 0.02}, {"volts", 13.5},
      {"amperes", 1.25}, {"pascals", 6e5},
      {"count", 4000.0}, {"switch", 1.0},
      {"word", "REAL"},  {"channels", std::vector<std::string>{"1!3", "2!21"}},
      {"channel", 2.0},  {"resolution", 1e-4}};
  return kUsual;
}

// Optional nodes can make two commands of a dialect alike; then the other one answers.
void expect_known(const scpi::Dialect& dialect, const std::string& operation) {
  const std::string message = dialect.render(operation, usual_arguments());
  const auto space = message.find(' ');
  const auto outcome = dialect.match(message.substr(0, space),
                                     space == std::string::npos ? "" : message.substr(space + 1));
  expect(std::holds_alternative<scpi::Call>(outcome) || dialect.operations().size() > 1,
         "what is rendered is recognised", message);
  expect(message.find_first_of("\r\n;") == std::string::npos, "one message is one", message);
}

void match_any(const scpi::Dialect& dialect, std::string_view messages) {
  for (int k = 0; k < kMostMessages && !messages.empty(); ++k) {
    const std::string_view line = take_line(messages);
    const auto space = std::min(line.find(' '), line.size());
    const auto outcome =
        dialect.match(line.substr(0, space), line.substr(std::min(space + 1, line.size())));
    if (const auto* call = std::get_if<scpi::Call>(&outcome))
      expect(dialect.has(call->operation), "only its own operations", call->operation);
    else
      expect(std::get<scpi::Refusal>(outcome).number < 0, "a refusal has a number");
  }
}

}  // namespace

void try_dialect(std::string_view input) {
  const std::size_t end = std::min(input.find('\0'), input.size());
  const std::string_view messages = input.substr(std::min(end + 1, input.size()));
  accepted([&] {
    // In the project's folder, so that it can inherit.
    const auto dialect =
        scpi::Dialect::parse(input.substr(0, end), in_project("drivers/dialects/fuzz.json"));
    for (const std::string& operation : dialect.operations())
      accepted([&] { expect_known(dialect, operation); });
    accepted([&] { (void)dialect.channel("1", "21"); });
    (void)dialect.fits("MAKER,MODEL,1,2");
    match_any(dialect, messages);
  });
}

}  // namespace pinproof::fuzz
