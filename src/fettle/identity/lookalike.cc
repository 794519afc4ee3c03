#include "fettle/identity/lookalike.h"

#include <algorithm>
#include <map>

namespace fettle::identity {
namespace {

struct Pair {
    char a, b;
    double cost;
};

// Typed by a person who looks at a label or a screen. O and 0 are often drawn alike (a third of the time it was the
// other one); 1, I and l likewise; the shapes of 2/Z, 5/S, 6/G, 8/B and U/V differ, so a mistake is rarer.
constexpr Pair typed_pairs[] = {
    {'O', '0', 0.7}, {'D', '0', 4.0}, {'D', 'O', 4.0}, {'Q', '0', 4.0}, {'Q', 'O', 4.0}, {'1', 'I', 1.0},
    {'1', 'l', 0.7}, {'I', 'l', 0.7}, {'1', 'L', 3.5}, {'I', 'L', 4.0}, {'1', '|', 1.0}, {'I', '|', 1.0},
    {'2', 'Z', 2.0}, {'5', 'S', 2.0}, {'6', 'G', 2.5}, {'8', 'B', 2.0}, {'U', 'V', 3.2},
};

// Read off a photo: the same, readier, and digits among themselves.
constexpr Pair photo_pairs[] = {
    {'O', '0', 0.5}, {'D', '0', 2.5}, {'D', 'O', 2.5}, {'Q', '0', 2.5}, {'Q', 'O', 2.0}, {'1', 'I', 0.7},
    {'1', 'l', 0.5}, {'I', 'l', 0.5}, {'1', 'L', 2.5}, {'I', 'L', 2.5}, {'1', '|', 0.7}, {'I', '|', 0.7},
    {'2', 'Z', 1.2}, {'5', 'S', 1.2}, {'6', 'G', 1.5}, {'8', 'B', 1.2}, {'U', 'V', 2.0}, {'3', '8', 2.5},
    {'1', '7', 2.5}, {'5', '6', 2.8}, {'6', '8', 2.8}, {'0', '8', 3.0}, {'0', '6', 3.5}, {'9', '8', 3.0},
    {'C', 'G', 2.5}, {'E', 'F', 2.5}, {'M', 'N', 3.0}, {'P', 'R', 3.0}, {'V', 'Y', 3.0}, {'K', 'X', 3.5},
};

constexpr double other_case = 0.3;  // small for capital, or the reverse

bool is_small(char c) {
    return c >= 'a' && c <= 'z';
}
bool is_capital(char c) {
    return c >= 'A' && c <= 'Z';
}
char swap_case(char c) {
    return is_small(c) ? static_cast<char>(c - 'a' + 'A') : is_capital(c) ? static_cast<char>(c - 'A' + 'a') : c;
}

void offer(std::map<char, double>& out, char c, double cost) {
    const auto [at, fresh] = out.emplace(c, cost);
    if (!fresh) at->second = std::min(at->second, cost);
}

}  // namespace

std::vector<LookAlike> look_alikes(char seen, Source source) {
    std::map<char, double> found{{seen, 0.0}};
    const auto pairs = [&](char of, double on_top) {
        const auto look = [&](const auto& table) {
            for (const Pair& p : table) {
                if (p.a == of) offer(found, p.b, on_top + p.cost);
                if (p.b == of) offer(found, p.a, on_top + p.cost);
            }
        };
        if (source == Source::typed)
            look(typed_pairs);
        else
            look(photo_pairs);
    };
    pairs(seen, 0);
    if (const char other = swap_case(seen); other != seen) {
        offer(found, other, other_case);
        // Who types small letters for a label in capitals saw the capital's shape; not the other way round.
        if (is_small(seen)) pairs(other, other_case);
    }
    std::vector<LookAlike> out;
    for (const auto& [c, cost] : found) out.push_back({c, cost});
    std::sort(out.begin(), out.end(), [](const LookAlike& a, const LookAlike& b) {
        return a.cost != b.cost ? a.cost < b.cost : a.read < b.read;
    });
    return out;
}

std::string spoken(char c) {
    if (c >= '0' && c <= '9') return std::string(1, c) + " (digit)";
    if (is_capital(c)) return std::string(1, c) + " (letter)";
    if (is_small(c)) return std::string(1, c) + " (small letter)";
    if (c == ' ') return "a blank";
    return std::string(1, c) + " (sign)";
}

}  // namespace fettle::identity
