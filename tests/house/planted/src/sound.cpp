#include <string>
#include <vector>

std::size_t letters(const std::vector<std::string>& words) {
  std::size_t n = 0;
  for (const std::string& word : words) n += word.size();
  return words.empty() ? 0 : n;
}
