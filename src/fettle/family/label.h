// Does a text match a label rule, and where are its fields? Exact: no look-alikes here (that is identity's work).
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/family/family.h"
#include "fettle/family/pattern.h"

namespace fettle::family {

struct FieldSpan {
    std::string name;
    std::size_t at = 0;  // byte offset in the text
    std::string text;
};

// A label rule made ready for many texts. Cheap to move; may be used from one thread at a time.
class LabelMatcher {
public:
    // bad_input "pattern-unusable" when the pattern is outside the allowed syntax, or its check rule names fields that
    // it does not have.
    static Result<LabelMatcher> make(const LabelRule& rule);
    ~LabelMatcher();
    LabelMatcher(LabelMatcher&&) noexcept;
    LabelMatcher& operator=(LabelMatcher&&) noexcept;

    const Pattern& pattern() const;

    // The fields in order, if the pattern accepts the whole text; the check character is not looked at.
    std::optional<std::vector<FieldSpan>> fields(std::string_view text) const;

    // The check character that the rule wants for these fields; nullopt when there is no rule, or a field that it
    // covers holds something that the method cannot compute with.
    std::optional<char> expected_check(const std::vector<FieldSpan>& fields) const;

    // Pattern and check character.
    bool accepts(std::string_view text) const;
    // The same for fields already found.
    bool check_agrees(const std::vector<FieldSpan>& fields) const;

private:
    struct Parts;
    explicit LabelMatcher(std::unique_ptr<Parts> parts);
    std::unique_ptr<Parts> parts_;
};

// The text of a field; empty if it is not there.
std::string field_text(const std::vector<FieldSpan>& fields, std::string_view name);

}  // namespace fettle::family
