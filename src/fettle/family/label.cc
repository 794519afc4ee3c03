#include "fettle/family/label.h"

#include <re2/re2.h>

#include <algorithm>

#include "fettle/base/check_character.h"

namespace fettle::family {

struct LabelMatcher::Parts {
    Pattern pattern;
    std::unique_ptr<RE2> re2;
    std::optional<CheckRule> check;
};

LabelMatcher::LabelMatcher(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {}
LabelMatcher::~LabelMatcher() = default;
LabelMatcher::LabelMatcher(LabelMatcher&&) noexcept = default;
LabelMatcher& LabelMatcher::operator=(LabelMatcher&&) noexcept = default;

const Pattern& LabelMatcher::pattern() const {
    return parts_->pattern;
}

Result<LabelMatcher> LabelMatcher::make(const LabelRule& rule) {
    auto pattern = Pattern::compile(rule.pattern);
    if (!pattern) return pass(pattern);
    auto parts = std::make_unique<Parts>();
    RE2::Options options;
    options.set_log_errors(false);
    options.set_encoding(RE2::Options::EncodingLatin1);
    parts->re2 = std::make_unique<RE2>(rule.pattern, options);
    if (!parts->re2->ok())
        return bad_input("pattern-unusable", "", "is refused by the pattern engine: " + parts->re2->error(),
                         "correct the pattern");
    parts->pattern = std::move(*pattern);
    parts->check = rule.check;
    if (rule.check) {
        const auto& names = parts->pattern.fields();
        const auto has = [&](const std::string& name) {
            return std::find(names.begin(), names.end(), name) != names.end();
        };
        std::vector<std::string> wanted = rule.check->over;
        wanted.emplace_back("check");
        for (const std::string& name : wanted)
            if (!has(name))
                return bad_input("pattern-unusable", "", "has no field \"" + name + "\", which its check rule needs",
                                 "name the group (?P<" + name + ">…)");
    }
    return LabelMatcher(std::move(parts));
}

std::optional<std::vector<FieldSpan>> LabelMatcher::fields(std::string_view text) const {
    const RE2& re = *parts_->re2;
    const re2::StringPiece piece(text.data(), text.size());
    std::vector<re2::StringPiece> groups(static_cast<std::size_t>(re.NumberOfCapturingGroups()) + 1);
    if (!re.Match(piece, 0, text.size(), RE2::ANCHOR_BOTH, groups.data(), static_cast<int>(groups.size())))
        return std::nullopt;
    std::vector<FieldSpan> out;
    for (const auto& [number, name] : re.CapturingGroupNames()) {
        const re2::StringPiece& g = groups[static_cast<std::size_t>(number)];
        if (!g.data()) continue;  // a group of an alternative that was not taken
        out.push_back({name, static_cast<std::size_t>(g.data() - text.data()), std::string(g.data(), g.size())});
    }
    return out;
}

std::string field_text(const std::vector<FieldSpan>& fields, std::string_view name) {
    for (const FieldSpan& f : fields)
        if (f.name == name) return f.text;
    return {};
}

std::optional<char> LabelMatcher::expected_check(const std::vector<FieldSpan>& fields) const {
    if (!parts_->check) return std::nullopt;
    std::string over;
    for (const std::string& name : parts_->check->over) over += field_text(fields, name);
    return mod11_2(over);
}

bool LabelMatcher::check_agrees(const std::vector<FieldSpan>& fields) const {
    if (!parts_->check) return true;
    const auto expected = expected_check(fields);
    return expected && field_text(fields, "check") == std::string(1, *expected);
}

bool LabelMatcher::accepts(std::string_view text) const {
    const auto f = fields(text);
    return f && check_agrees(*f);
}

}  // namespace fettle::family
