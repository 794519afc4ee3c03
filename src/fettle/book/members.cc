#include "fettle/book/members.h"

#include <fmt/core.h>

#include "fettle/base/bytes.h"
#include "fettle/base/json.h"

namespace fettle::book {

const json::value* Members::find(std::string_view key) const {
    asked_.emplace(key);
    const auto* v = object_.if_contains(key);
    return v && !v->is_null() ? v : nullptr;
}

void Members::fail(std::string_view key, std::string_view expected) {
    if (first_) return;
    first_ = Error{ErrorKind::bad_input, "entry-malformed", place_, fmt::format("\"{}\" must be {}", key, expected),
                   "see docs/journal.md; a stated value can be put right with a correcting entry"};
}

Status Members::status() const {
    if (first_) return tl::unexpected<Error>(*first_);
    return {};
}

std::string Members::text(std::string_view key) {
    if (!find(key)) fail(key, "there");
    return text_or(key);
}

std::string Members::text_or(std::string_view key, std::string otherwise) {
    const auto* v = find(key);
    if (!v) return otherwise;
    if (v->is_string()) return std::string(v->get_string());
    if (v->is_int64()) return std::to_string(v->get_int64());
    if (v->is_uint64()) return std::to_string(v->get_uint64());
    fail(key, "a text");
    return otherwise;
}

std::int64_t Members::whole(std::string_view key) {
    if (!find(key)) fail(key, "there");
    return whole_if(key).value_or(0);
}

std::optional<std::int64_t> Members::whole_if(std::string_view key) {
    const auto* v = find(key);
    if (!v) return std::nullopt;
    boost::system::error_code ec;
    const auto n = v->to_number<std::int64_t>(ec);
    if (v->is_number() && !ec) return n;
    fail(key, "a whole number");
    return std::nullopt;
}

std::optional<int> Members::byte_if(std::string_view key) {
    const auto* v = find(key);
    if (!v) return std::nullopt;
    if (v->is_string()) {
        std::string_view hex_text = v->get_string();
        if (hex_text.substr(0, 2) == "0x") hex_text.remove_prefix(2);
        if (const auto bytes = unhex(hex_text); bytes && bytes->size() == 1) return (*bytes)[0];
    } else if (const auto n = whole_if(key); n && *n >= 0 && *n <= 255) {
        return static_cast<int>(*n);
    }
    fail(key, "a byte: 0 to 255, or two hex digits as a text");
    return std::nullopt;
}

double Members::number_or(std::string_view key, double otherwise) {
    const auto* v = find(key);
    if (!v) return otherwise;
    if (v->is_number()) return v->to_number<double>();
    fail(key, "a number");
    return otherwise;
}

bool Members::flag(std::string_view key) {
    const auto* v = find(key);
    if (!v) return false;
    if (v->is_bool()) return v->get_bool();
    fail(key, "true or false");
    return false;
}

Verdict Members::verdict(std::string_view key) {
    const std::string word = text(key);
    for (const Verdict v : {Verdict::fit, Verdict::mind, Verdict::cant_say, Verdict::halt})
        if (word == code(v)) return v;
    fail(key, "one of fit, mind, cant-say, halt");
    return Verdict::cant_say;
}

std::string Members::object_if(std::string_view key) {
    const auto* v = find(key);
    if (!v) return {};
    if (v->is_object()) return boost::json::serialize(*v);
    fail(key, "an object");
    return {};
}

std::vector<std::string> Members::texts(std::string_view key) {
    std::vector<std::string> out;
    const auto* v = find(key);
    if (!v) return out;
    if (!v->is_array()) {
        fail(key, "a list of texts");
        return out;
    }
    for (const auto& item : v->get_array()) {
        if (item.is_string())
            out.emplace_back(item.get_string());
        else
            fail(key, "a list of texts");
    }
    return out;
}

void Members::each(std::string_view key, const std::function<void(Members&)>& take) {
    const auto* v = find(key);
    if (!v) return;
    if (!v->is_array()) {
        fail(key, "a list of objects");
        return;
    }
    std::size_t i = 0;
    for (const auto& item : v->get_array()) {
        if (!item.is_object()) {
            fail(key, "a list of objects");
            return;
        }
        Members inner(item.get_object(), fmt::format("{}, {}[{}]", place_, key, i++));
        take(inner);
        if (!first_) first_ = inner.first_;
    }
}

void Members::each_member(std::string_view key, const std::function<void(std::string_view, std::string)>& take) {
    const auto* v = find(key);
    if (!v) return;
    if (!v->is_object()) {
        fail(key, "an object of texts");
        return;
    }
    for (const auto& [name, value] : v->get_object()) {
        if (value.is_string())
            take(name, std::string(value.get_string()));
        else
            fail(key, "an object of texts");
    }
}

std::vector<Reason> Members::reasons(std::string_view key) {
    std::vector<Reason> out;
    each(key, [&](Members& m) {
        Reason r;
        r.code = m.text("code");
        r.verdict = m.verdict("verdict");
        r.text = m.text("text");
        r.where = m.text_or("where");
        r.rests_on = m.text_or("rests_on");
        out.push_back(std::move(r));
    });
    return out;
}

}  // namespace fettle::book
