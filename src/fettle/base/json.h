// JSON by Boost.JSON, for .cc files only: headers name boost::json types by <boost/json/fwd.hpp> or not at all.
#pragma once

#include <boost/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"

namespace fettle {

namespace json = boost::json;

// bad_input names the place with line and column. Duplicate keys keep the last; nesting is bounded (32 levels).
Result<json::value> parse_json(std::string_view text, std::string_view place);

// Keys in the order they were set, two blanks of indent, final newline. Always valid UTF-8 without a control character:
// bytes of a text that are none become \xNN in it.
std::string pretty(const json::value& v);

// Text members and numbers, with a fallback when the member is absent or of another kind.
std::string text_of(const json::object& o, std::string_view key, std::string_view otherwise = {});
double number_of(const json::object& o, std::string_view key, double otherwise = 0);

json::array texts_as_json(const std::vector<std::string>& texts);

// A list of anything, each item as `as_value` makes it.
template <class List, class F>
json::array list_as_json(const List& list, F as_value) {
    json::array out;
    for (const auto& item : list) out.emplace_back(as_value(item));
    return out;
}

// Reasons as entries and documents keep them. What settles one ("next") is there only where something does: its words,
// acts as `shown` shows them, and the first act by its name with its arguments.
json::array reasons_as_json(const std::vector<Reason>& reasons,
                            const std::function<std::string(const Proposal&)>& shown = {});

// {"act": "consent", "what": "one-way", "by": null}: null is for the person to fill in.
json::object proposal_as_json(const Proposal& proposal);

// A word for programs out of the words for people: "new, not explained" → "new-not-explained". JSON gives every value
// of a fixed set in this form, as it gives reason codes.
std::string json_word(std::string_view words);

}  // namespace fettle
