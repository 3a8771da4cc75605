#include "faulty.h"

#include <utility>

using std::string;
typedef std::vector<int> List;  // finds: modernize-use-using

int divided(int by) {
  int zero = 0;
  if (by == 0) return 1 / zero;  // finds: clang-analyzer-core.DivideZero
  return 1 / by;
}

string moved(string text) {
  string taken = std::move(text);
  return text + taken;  // finds: bugprone-use-after-move
}

int uninitialised(bool yes) {
  int out;  // finds: cppcoreguidelines-init-variables
  if (yes) out = 1;
  else out = 2;
  return out;
}

int* pointer() { return 0; }  // finds: modernize-use-nullptr

int summed(const std::vector<string>& words) {
  int n = 0;
  for (const string word : words) n += static_cast<int>(word.size());  // finds: performance-for-range-copy
  return n;
}

string copied(const string& text) { return string(text.c_str()); }  // finds: readability-redundant-string-cstr

int ignored(int used, int unused) { return used; }  // finds: misc-unused-parameters
