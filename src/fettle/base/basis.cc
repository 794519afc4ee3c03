#include "fettle/base/basis.h"

#include <charconv>
#include <string_view>
#include <utility>

namespace fettle {
namespace {

bool names_a_guess(std::string_view words) {
    for (;;) {  // of parts between "; ", one that is a guess makes the whole one
        if (words.starts_with("guess")) return true;
        const auto next = words.find("; ");
        if (next == std::string_view::npos) return false;
        words.remove_prefix(next + 2);
    }
}

int runs_in(std::string_view words) {
    constexpr std::string_view measured = "measured ";
    int runs = 0;
    if (!words.starts_with(measured)) return 0;
    const char* const end = words.data() + words.size();
    const auto [at, error] = std::from_chars(words.data() + measured.size(), end, runs);
    return error == std::errc() && (at == end || *at == ' ' || *at == ';') && runs > 0 ? runs : 0;
}

}  // namespace

Basis::Basis(std::string words) : words_(std::move(words)), runs_(runs_in(words_)) {
    if (names_a_guess(words_))
        kind_ = Kind::guess;
    else if (runs_ > 0)
        kind_ = Kind::measured;
    else if (words_ == "common practice")
        kind_ = Kind::common_practice;
    else if (words_ == "maker's paper")
        kind_ = Kind::makers_paper;
    else if (words_ == "family file")
        kind_ = Kind::family_file;
}

Basis::Basis(const char* words) : Basis(std::string(words)) {}

Basis Basis::measured(int runs) {
    return Basis("measured " + std::to_string(runs));
}

}  // namespace fettle
