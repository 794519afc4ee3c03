#include "fettle/contact/forms.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"

namespace fettle::contact {

void Rows::begin() {
    table_.rows.emplace_back(table_.fields.size());
}

void Rows::set(const std::string& field, std::string text) {
    auto at = std::find(table_.fields.begin(), table_.fields.end(), field);
    if (at == table_.fields.end()) {
        if (table_.fields.size() == most_fields) return;
        table_.fields.push_back(field);
        at = table_.fields.end() - 1;
        // Rows before this one are widened at the end, by square().
    }
    auto& row = table_.rows.back();
    row.resize(std::max(row.size(), table_.fields.size()));
    std::string& cell = row[static_cast<std::size_t>(at - table_.fields.begin())];
    if (!cell.empty()) cell += ' ';
    cell += text;
}

namespace {

void square(Reading& r) {
    for (Table& t : r.tables)
        for (auto& row : t.rows) row.resize(t.fields.size());
}

bool is_hex(std::string_view s) {
    return std::all_of(s.begin(), s.end(), [](unsigned char c) { return std::isxdigit(c) != 0; });
}

bool is_hex_digest(std::string_view s) {
    return (s.size() == 8 || s.size() == 32 || s.size() == 40 || s.size() == 64 || s.size() == 128) && is_hex(s);
}

// "# name: value"; a remark without a colon says nothing.
bool remark(std::string_view line, Reading& out) {
    if (!line.starts_with('#')) return false;
    const std::size_t colon = line.find(':');
    if (colon != std::string_view::npos && out.scalars.size() < 1000)
        out.scalars.push_back(
            {"#" + std::string(trim(line.substr(1, colon - 1))), std::string(trim(line.substr(colon + 1)))});
    return true;
}

std::vector<std::string> words_of(std::string_view line) {
    std::vector<std::string> out;
    std::size_t at = 0;
    while ((at = line.find_first_not_of(" \t", at)) != std::string_view::npos && out.size() < most_fields) {
        const std::size_t end = std::min(line.find_first_of(" \t", at), line.size());
        out.emplace_back(line.substr(at, end - at));
        at = end;
    }
    return out;
}

// One record of a table by RFC 4180, off the front of the text. False: a quoted cell never ends.
bool take_record(std::string_view& text, char separator, std::vector<std::string>& cells) {
    cells.clear();
    for (;;) {
        std::string cell;
        if (text.starts_with('"')) {
            for (text.remove_prefix(1);;) {
                const std::size_t end = text.find('"');
                if (end == std::string_view::npos) return false;
                cell += text.substr(0, end);
                text.remove_prefix(end + 1);
                if (!text.starts_with('"')) break;
                cell += '"';
                text.remove_prefix(1);
            }
        } else {
            const std::size_t end = std::min({text.find(separator), text.find('\n'), text.size()});
            cell = text.substr(0, end);
            text.remove_prefix(end);
            if (cell.ends_with('\r')) cell.pop_back();
        }
        cells.push_back(std::move(cell));
        if (!text.starts_with(separator)) break;
        text.remove_prefix(1);
        if (cells.size() == most_fields) return false;
    }
    if (text.starts_with('\r')) text.remove_prefix(1);
    if (!text.empty() && !text.starts_with('\n')) return false;
    if (!text.empty()) text.remove_prefix(1);
    return true;
}

}  // namespace

bool read_columns(std::string_view text, char separator, const std::function<bool(std::string_view)>& is_name,
                  Reading& out) {
    out.form = separator == '\t' ? "tsv" : "csv";
    out.separator = separator;
    text = without_mark(text);
    Table t;
    std::vector<std::string> cells;
    while (!text.empty() && t.rows.size() < most_rows) {
        if (text.starts_with('#')) {
            std::string_view line = text.substr(0, text.find('\n'));
            text.remove_prefix(std::min(line.size() + 1, text.size()));
            remark(line, out);
            continue;
        }
        if (!take_record(text, separator, cells)) return false;
        if (cells.size() == 1 && trim(cells[0]).empty()) continue;
        if (t.fields.empty()) {
            if (cells.size() < 2) return false;
            out.headless = std::any_of(cells.begin(), cells.end(), [&](const std::string& c) { return is_name(c); });
            for (std::size_t i = 0; i < cells.size(); ++i)
                t.fields.push_back(out.headless ? fmt::format("{}", i + 1) : std::string(trim(cells[i])));
            if (!out.headless) continue;
        }
        if (cells.size() != t.fields.size()) return false;
        t.rows.push_back(cells);
    }
    if (t.rows.empty()) return false;
    out.tables.push_back(std::move(t));
    return true;
}

bool read_digest_lines(std::string_view text, Reading& out) {
    out.form = "digest-list";
    Table t;
    t.fields = {"digest", "path"};
    Lines lines(text);
    for (std::string_view line; lines.next(line) && t.rows.size() < most_rows;) {
        if (trim(line).empty() || remark(line, out)) continue;
        const std::size_t open = line.find(" ("), close = line.rfind(") = ");
        if (open != std::string_view::npos && close != std::string_view::npos && open + 2 <= close) {
            t.rows.push_back(
                {std::string(line.substr(close + 4)), std::string(line.substr(open + 2, close - open - 2))});
            continue;
        }
        const std::size_t blank = line.find(' ');
        if (blank == std::string_view::npos || blank + 2 >= line.size() || !is_hex_digest(line.substr(0, blank)))
            return false;
        if (line[blank + 1] != ' ' && line[blank + 1] != '*') return false;
        t.rows.push_back({std::string(line.substr(0, blank)), std::string(line.substr(blank + 2))});
    }
    if (t.rows.empty()) return false;
    out.tables.push_back(std::move(t));
    return true;
}

bool read_ini(std::string_view text, Reading& out) {
    out.form = "ini";
    std::map<std::string, std::vector<std::vector<std::pair<std::string, std::string>>>> groups;
    std::string section, group;
    Lines lines(text);
    std::size_t seen = 0;
    for (std::string_view line; lines.next(line);) {
        line = trim(line);
        if (line.empty() || line.starts_with('#') || line.starts_with(';')) continue;
        if (line.starts_with('[') && line.ends_with(']')) {
            if (++seen > most_rows) return false;
            section = line.substr(1, line.size() - 2);
            const std::size_t blank = section.find_first_of(" :.");
            group = blank == std::string::npos ? "" : section.substr(0, blank + 1) + "*";
            if (!group.empty()) groups[group].push_back({{"*", section.substr(blank + 1)}});
            continue;
        }
        const std::size_t equals = line.find('=');
        if (equals == std::string_view::npos || section.empty()) return false;
        const std::string key(trim(line.substr(0, equals))), value(trim(line.substr(equals + 1)));
        if (group.empty())
            out.scalars.push_back({section + "/" + key, value});
        else
            groups[group].back().emplace_back(key, value);
    }
    for (const auto& [address, records] : groups) {
        Table t;
        t.address = address;
        for (const auto& record : records) {
            Rows rows(t);
            rows.begin();
            for (const auto& [key, value] : record) rows.set(key, value);
        }
        out.tables.push_back(std::move(t));
    }
    return seen > 0;
}

// "Name: value" lines; a blank line ends a record; an indented line goes on: as one more record of a list if it has
// several words (the control file format of Debian Policy 5.1 and 5.6.21 to 5.6.24).
bool read_stanzas(std::string_view text, Reading& out) {
    out.form = "stanzas";
    Table records;
    std::map<std::string, Table> lists;
    bool open = false;
    std::string name;
    Lines lines(text);
    std::size_t fields = 0;
    for (std::string_view line; lines.next(line) && records.rows.size() < most_rows;) {
        if (trim(line).empty()) {
            open = false;
            continue;
        }
        if (line.starts_with(' ') || line.starts_with('\t')) {
            if (name.empty()) return false;
            const auto words = words_of(line);
            Table& t = lists[name];
            t.address = name;
            if (words.size() < 2 || t.rows.size() >= most_rows) continue;
            Rows rows(t);
            rows.begin();
            for (std::size_t i = 0; i < words.size(); ++i) rows.set(fmt::format("{}", i + 1), words[i]);
            continue;
        }
        if (line.starts_with('#') || line.starts_with("-----")) continue;
        const std::size_t colon = line.find(':');
        if (colon == std::string_view::npos || colon == 0 || line.substr(0, colon).find(' ') != std::string_view::npos)
            return false;
        name = line.substr(0, colon);
        Rows rows(records);
        if (!open) rows.begin();
        open = true;
        ++fields;
        rows.set(name, std::string(trim(line.substr(colon + 1))));
    }
    if (fields < 2) return false;
    records.rows.front().resize(records.fields.size());
    if (records.rows.size() == 1)
        for (std::size_t i = 0; i < records.fields.size(); ++i)
            out.scalars.push_back({records.fields[i], records.rows[0][i]});
    out.tables.push_back(std::move(records));
    for (auto& [address, t] : lists) out.tables.push_back(std::move(t));
    return true;
}

// Lines of as many words each: the last way, for lists that follow no form known here.
bool read_words(std::string_view text, Reading& out) {
    out.form = "words";
    std::map<std::size_t, Table> by_count;
    Lines lines(text);
    for (std::string_view line; lines.next(line);) {
        if (trim(line).empty() || remark(line, out)) continue;
        const auto words = words_of(line);
        Table& t = by_count[words.size()];
        if (t.rows.size() >= most_rows) continue;
        t.address = fmt::format("lines of {} words", words.size());
        Rows rows(t);
        rows.begin();
        for (std::size_t i = 0; i < words.size(); ++i) {
            std::string word = words[i];
            while (!word.empty() && (word.back() == ':' || word.back() == ',')) word.pop_back();
            rows.set(fmt::format("{}", i + 1), word);
        }
    }
    if (by_count.size() > 1) {  // "a: b c", as many words as there are
        Table firsts;
        firsts.address = "first words of lines";
        firsts.fields = {"1"};
        for (const auto& [count, t] : by_count)
            for (const auto& row : t.rows)
                if (firsts.rows.size() < most_rows) firsts.rows.push_back({row[0]});
        out.tables.push_back(std::move(firsts));
    }
    for (auto& [count, t] : by_count) out.tables.push_back(std::move(t));
    return !out.tables.empty();
}

std::vector<Reading> readings_of(std::string_view text, const std::function<bool(std::string_view)>& is_name) {
    std::vector<Reading> out;
    const auto attempt = [&](auto&& read) {
        Reading r;
        if (!read(r)) return false;
        square(r);
        out.push_back(std::move(r));
        return true;
    };
    if (attempt([&](Reading& r) { return read_json(text, r); })) return out;
    if (attempt([&](Reading& r) { return read_xml(text, r); })) return out;
    if (attempt([&](Reading& r) { return read_digest_lines(text, r); })) return out;
    attempt([&](Reading& r) { return read_ini(text, r); });
    attempt([&](Reading& r) { return read_stanzas(text, r); });
    for (const char separator : {'\t', ',', ';'})
        attempt([&](Reading& r) { return read_columns(text, separator, is_name, r); });
    attempt([&](Reading& r) { return read_words(text, r); });
    return out;
}

}  // namespace fettle::contact
