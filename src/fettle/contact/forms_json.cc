// JSON: lists of objects are tables, and so are objects whose members are all objects or all texts.
#include <algorithm>
#include <map>

#include "fettle/base/json.h"
#include "fettle/contact/forms.h"

namespace fettle::contact {
namespace {

std::string text_of_value(const json::value& v) {
    if (v.is_string()) return std::string(v.get_string());
    if (v.is_null()) return {};
    return json::serialize(v);
}

bool all_primitive(const json::array& a) {
    return std::all_of(a.begin(), a.end(), [](const json::value& v) { return v.is_primitive() && !v.is_null(); });
}

std::string joined(const json::array& a) {
    std::string out;
    for (const json::value& v : a) out += (out.empty() ? "" : " ") + text_of_value(v);
    return out;
}

std::string pointer_step(std::string_view name) {  // RFC 6901, section 3
    std::string out = "/";
    for (const char c : name) {
        if (c == '~')
            out += "~0";
        else if (c == '/')
            out += "~1";
        else
            out += c;
    }
    return out;
}

class Walk {
public:
    explicit Walk(Reading& out) : out_(out) {}

    void top(const json::value& v, const std::string& at) {
        if (const auto* o = v.if_object()) {
            const bool records = o->size() > 1 && alike(*o);
            if (records) members(*o, at);
            for (const auto& [name, member] : *o)
                if (!records || !member.is_object()) top(member, at + pointer_step(name));
        } else if (const auto* a = v.if_array()) {
            if (all_primitive(*a))
                out_.scalars.push_back({at, joined(*a)});
            else
                list(*a, at);
        } else if (out_.scalars.size() < most_rows) {
            out_.scalars.push_back({at, text_of_value(v)});
        }
    }

    void done() {
        for (auto& [address, table] : tables_) out_.tables.push_back(std::move(table));
    }

private:
    static bool alike(const json::object& o) {
        const auto all = [&](auto&& is) {
            return std::all_of(o.begin(), o.end(), [&](const auto& m) { return is(m.value()); });
        };
        return all([](const json::value& v) { return v.is_object(); }) ||
               all([](const json::value& v) { return v.is_string(); });
    }

    Table& table(const std::string& at) {
        Table& t = tables_[at];
        t.address = at;
        return t;
    }

    void members(const json::object& o, const std::string& at) {
        for (const auto& [name, member] : o) {
            Table& t = table(at + "/*");
            Rows rows(t);
            if (rows.full()) return;
            rows.begin();
            rows.set("key", std::string(name));
            record(member, t, "", at + "/*");
        }
    }

    void list(const json::array& a, const std::string& at) {
        for (const json::value& item : a) {
            Table& t = table(at);
            Rows rows(t);
            if (rows.full()) return;
            rows.begin();
            record(item, t, "", at + "/*");
        }
    }

    void record(const json::value& v, Table& t, const std::string& field, const std::string& at) {
        if (const auto* o = v.if_object()) {
            for (const auto& [name, member] : *o)
                record(member, t, field + pointer_step(name), at + pointer_step(name));
        } else if (const auto* a = v.if_array(); a && !all_primitive(*a)) {
            list(*a, at);
        } else {
            Rows(t).set(field.empty() ? "." : field, a ? joined(*a) : text_of_value(v));
        }
    }

    Reading& out_;
    std::map<std::string, Table> tables_;
};

}  // namespace

bool read_json(std::string_view text, Reading& out) {
    const auto first = text.find_first_not_of(" \t\r\n");
    if (first == std::string_view::npos || (text[first] != '{' && text[first] != '[')) return false;
    const auto v = parse_json(text, "");
    if (!v) return false;
    out.form = "json";
    Walk walk(out);
    walk.top(*v, "");
    walk.done();
    return true;
}

}  // namespace fettle::contact
