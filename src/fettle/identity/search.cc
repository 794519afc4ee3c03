// Best-first search. A node is a text read so far with the set of places that the pattern may be at, so each text comes
// up once. What is still to pay from a place is computed backwards beforehand, exactly; so nodes that lead nowhere are
// never opened, and texts come out in the order of their cost.
#include "fettle/identity/search.h"

#include <algorithm>
#include <limits>
#include <queue>

namespace fettle::identity {
namespace {

using family::Pattern;

constexpr double never = std::numeric_limits<double>::infinity();
constexpr std::size_t most_readings = 256;
constexpr std::size_t most_check_wrong = 8;
constexpr std::size_t most_nodes = 20'000;

// to_pay[i][p]: least cost of the characters from i on when the last place was p; never if it cannot end well.
std::vector<std::vector<double>> costs_backwards(const Pattern& pattern, const Choices& choices) {
    const std::size_t places = pattern.places() + 1;
    std::vector<std::vector<double>> to_pay(choices.size() + 1, std::vector<double>(places, never));
    for (std::size_t p = 0; p < places; ++p)
        if (pattern.accepts({static_cast<std::uint16_t>(p)})) to_pay[choices.size()][p] = 0;
    for (std::size_t i = choices.size(); i-- > 0;)
        for (std::size_t p = 0; p < places; ++p)
            for (const LookAlike& c : choices[i])
                for (const std::uint16_t q : pattern.step({static_cast<std::uint16_t>(p)}, c.read))
                    to_pay[i][p] = std::min(to_pay[i][p], c.cost + to_pay[i + 1][q]);
    return to_pay;
}

struct Open {
    double whole;  // paid and still to pay
    double paid;
    std::string text;
    Pattern::States at;

    // Cheapest first; among equals the one that got furthest, then the text, so that the order is always the same.
    bool operator<(const Open& o) const {
        if (whole != o.whole) return whole > o.whole;
        if (text.size() != o.text.size()) return text.size() < o.text.size();
        return text > o.text;
    }
};

}  // namespace

Found search(const family::LabelMatcher& matcher, const Choices& choices) {
    const Pattern& pattern = matcher.pattern();
    const auto to_pay = costs_backwards(pattern, choices);
    Found out;
    std::priority_queue<Open> open;
    const auto push = [&](std::string text, double paid, Pattern::States at) {
        double rest = never;
        for (const std::uint16_t p : at) rest = std::min(rest, to_pay[text.size()][p]);
        if (paid + rest <= bound) open.push({paid + rest, paid, std::move(text), std::move(at)});
    };
    push("", 0, pattern.start());
    for (std::size_t nodes = 0; !open.empty(); ++nodes) {
        const Open node = open.top();
        open.pop();
        if (nodes == most_nodes || out.agreed.size() == most_readings) {
            out.more = true;
            out.stopped_at = node.whole;
            break;
        }
        if (node.text.size() < choices.size()) {
            for (const LookAlike& c : choices[node.text.size()]) {
                Pattern::States at = pattern.step(node.at, c.read);
                if (!at.empty()) push(node.text + c.read, node.paid + c.cost, std::move(at));
            }
            continue;
        }
        if (matcher.accepts(node.text))
            out.agreed.push_back({node.text, node.paid});
        else if (out.check_wrong.size() < most_check_wrong)
            out.check_wrong.push_back({node.text, node.paid});
    }
    return out;
}

Prefix longest_prefix(const Pattern& pattern, const Choices& choices) {
    Prefix out{0, pattern.start()};
    for (const auto& at_place : choices) {
        Pattern::States next;
        for (const LookAlike& c : at_place) {
            const auto more = pattern.step(out.at, c.read);
            next.insert(next.end(), more.begin(), more.end());
        }
        if (next.empty()) break;
        std::sort(next.begin(), next.end());
        next.erase(std::unique(next.begin(), next.end()), next.end());
        out.at = std::move(next);
        ++out.characters;
    }
    return out;
}

}  // namespace fettle::identity
