// Plates and views: kept word for word; a pattern says no more than the examples bear out.
#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/check_character.h"
#include "fettle/contact/draft.h"

namespace fettle::contact {
namespace {

enum class Class { digit, capital, small, sign };

Class class_of(char c) {
    if (c >= '0' && c <= '9') return Class::digit;
    if (c >= 'A' && c <= 'Z') return Class::capital;
    if (c >= 'a' && c <= 'z') return Class::small;
    return Class::sign;
}

struct Run {
    Class kind = Class::sign;
    std::string text;
};

std::vector<Run> runs_of(std::string_view text) {
    std::vector<Run> out;
    for (const char c : text) {
        const Class k = class_of(c);
        if (out.empty() || out.back().kind != k || k == Class::sign)
            out.push_back({k, std::string(1, c)});
        else
            out.back().text += c;
    }
    return out;
}

// "9A1X": classes with their lengths, signs as they stand: plates of one shape have one pattern.
std::string shape_of(std::string_view text) {
    std::string out;
    for (const Run& r : runs_of(text))
        out += r.kind == Class::sign ? r.text : fmt::format("{}{}", static_cast<int>(r.kind), r.text.size());
    return out;
}

std::string escaped(std::string_view text) {
    std::string out;
    for (const char c : text) {
        if (std::string_view("\\.+*?()|[]{}^$").find(c) != std::string_view::npos) out += '\\';
        out += c;
    }
    return out;
}

std::string class_pattern(const Run& r) {
    const char* of = r.kind == Class::digit ? "\\d" : r.kind == Class::capital ? "[A-Z]" : "[a-z]";
    return r.text.size() == 1 ? of : fmt::format("{}{{{}}}", of, r.text.size());
}

// Plain ASCII without control characters: what a pattern can describe.
bool plain(std::string_view text) {
    return !text.empty() && text.size() <= 100 &&
           std::all_of(text.begin(), text.end(), [](unsigned char c) { return c >= 0x20 && c < 0x7F; });
}

// The digits before the last character; nullopt if it cannot be a check character at all.
std::optional<bool> check_holds(const std::string& plate) {
    if (plate.size() < 4) return std::nullopt;
    std::string digits;
    for (const char c : plate.substr(0, plate.size() - 1))
        if (class_of(c) == Class::digit) digits += c;
    const auto want = mod11_2(digits);
    if (!want) return std::nullopt;
    return *want == plate.back();
}

LabelDraft plate_of(const std::vector<std::string>& given) {
    LabelDraft out;
    std::vector<std::string> examples, wrong;
    for (const std::string& p : given) (check_holds(p).value_or(false) ? examples : wrong).push_back(p);
    // Three that agree by chance: 1 in 1,331. Then one that does not is the odd one out, not the rule.
    if (examples.size() >= 3 && wrong.size() < examples.size())
        out.contradicts = wrong;
    else
        examples = given;
    out.examples = examples;
    // One plate in eleven agrees by chance, so one alone proves nothing.
    out.check = examples.size() > 1 && std::all_of(examples.begin(), examples.end(),
                                                   [](const std::string& p) { return check_holds(p).value_or(false); });
    std::string body = examples.front();
    if (out.check) body.pop_back();
    int n = 0;
    for (const Run& r : runs_of(body)) {
        if (r.kind == Class::sign) {
            out.pattern += escaped(r.text);
            continue;
        }
        const std::string name = fmt::format("part{}", ++n);
        out.parts.emplace_back(name, r.text);
        if (r.kind == Class::digit) out.over.push_back(name);
        out.pattern += fmt::format("(?P<{}>{})", name, class_pattern(r));
    }
    if (out.check) out.pattern += "(?P<check>[0-9X])";
    return out;
}

}  // namespace

std::vector<LabelDraft> draft_plates(const std::vector<std::string>& plates) {
    std::vector<std::pair<std::string, std::vector<std::string>>> shapes;  // in the order they were given
    for (const std::string& plate : plates) {
        if (!plain(plate)) continue;
        // A check character may be a digit here and an X there.
        std::string body = plate;
        if (check_holds(plate).value_or(false)) body.back() = '0';
        const std::string shape = shape_of(body);
        auto at = std::find_if(shapes.begin(), shapes.end(), [&](const auto& s) { return s.first == shape; });
        if (at == shapes.end()) at = shapes.insert(shapes.end(), {shape, {}});
        if (std::find(at->second.begin(), at->second.end(), plate) == at->second.end()) at->second.push_back(plate);
    }
    std::vector<LabelDraft> out;
    for (const auto& [shape, examples] : shapes) out.push_back(plate_of(examples));
    return out;
}

std::optional<LabelDraft> draft_view(const std::vector<std::string>& views) {
    LabelDraft out;
    std::string before;
    for (const std::string& view : views) {
        if (!plain(view)) return std::nullopt;
        // The release: the first word that looks like a version and is made of numbers and dots.
        std::size_t at = 0, end = 0;
        bool found = false;
        while (!found && at < view.size()) {
            end = std::min(view.find(' ', at), view.size());
            const std::string word = view.substr(at, end - at);
            found = is_version(word) && word.find_first_not_of("0123456789.") == std::string::npos;
            if (!found) at = end + 1;
        }
        if (!found) return std::nullopt;
        const auto dots = std::count(view.begin() + static_cast<std::ptrdiff_t>(at),
                                     view.begin() + static_cast<std::ptrdiff_t>(end), '.');
        std::string pattern;
        std::vector<std::pair<std::string, std::string>> parts;
        const auto rest = [&](const std::string& text) {
            for (const Run& r : runs_of(text)) {
                if (r.kind == Class::sign) {
                    pattern += escaped(r.text);
                    continue;
                }
                parts.emplace_back(fmt::format("part{}", parts.size() + 1), r.text);
                pattern += fmt::format("(?P<{}>{})", parts.back().first, class_pattern(r));
            }
        };
        rest(view.substr(0, at));
        pattern += "(?P<release>\\d+";
        for (std::ptrdiff_t i = 0; i < dots; ++i) pattern += "\\.\\d+";
        pattern += ")";
        rest(view.substr(end));
        if (!before.empty() && pattern != before) return std::nullopt;
        if (before.empty()) out.parts = parts;
        before = pattern;
        if (std::find(out.examples.begin(), out.examples.end(), view) == out.examples.end())
            out.examples.push_back(view);
    }
    if (before.empty()) return std::nullopt;
    out.pattern = before;
    return out;
}

}  // namespace fettle::contact
