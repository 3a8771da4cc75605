// For house_finds_test.py: what cpp_source.py must count here, said beside each function
// as its lines, its branches. The bodies hold what a scanner could stumble over.
#include <array>
#include <functional>
#include <map>
#include <string>
#include <vector>

namespace planted::counted {

template <class T, int N = (3 > 2)>
struct Holder {
  explicit Holder(T&& first) : value_{static_cast<T&&>(first)}, ready_(N > 0 && true) {}   // 1, 2
  bool operator()(int a) const { return a > 0 || ready_; }                                 // 1, 2
  friend bool operator<(const Holder& a, const Holder& b) { return a.value_ < b.value_; }  // 1, 1
  Holder& operator=(const Holder&) = delete;

 private:
  T value_;
  bool ready_ = false;
  std::function<bool(int)> asks_ = [](int a) { return a > 1 && a < 3; };  // 1, 2
};

constexpr std::array<bool (*)(int), 2> kTable{{
    [](int a) { return a ? true : false; },  // 1, 2
    +[](int) { return false; },              // 1, 1
}};

// Braces and branches in texts and comments: { if (a && b) }
const std::string kText = R"(if (x) { || )"
                          "} && \" ? {";
constexpr char kBrace = '{', kQuote = '\'';
constexpr long kMany = 1'000'000;

int ladder(int a, int b) {  // 14, 8
  switch (a) {
    case 1:
    case 2:
      return b;
    default:
      break;
  }
  do {
    --a;
  } while (a > 0 and b > 0);
  if (a == 3) return 1;
  return a ? (b ? 1 : 2) : 3;
}

int guarded(std::map<std::string, int>& all) try {  // 6, 3
  for (auto&& [name, value] : all) value += static_cast<int>(name.size());
  return 0;
} catch (...) {
  return 1;
}

auto walk(std::vector<int>& out) -> std::vector<int>& {  // 13, 2
  struct Local {
    int twice(int a) const { return a > 1 ? 2 * a : 0; }  // 1, 2
  };
  const Local local{};
  auto each = [&out, by = out.empty() ? 1 : 2](int a) mutable -> int {  // 4, 2
    if (a > by) out.push_back(a);
    return a;
  };
  int table[2] = {1, 2};
  table[0] = each(local.twice(table[1]));
  return out;
}

}  // namespace planted::counted
