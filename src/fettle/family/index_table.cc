// Tables: comma- or tab-separated lines, by RFC 4180. The first line that is no remark names the columns; every further
// one is a file. What is the release's own stands in a column that says the same in every line, or in a remark
// "# name: value" before the table.
#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

constexpr std::size_t most_columns = 1000;

struct Row {
    std::size_t line = 0;
    std::vector<std::string> cells;
};

// One row at a time off the front of the text; quoted cells may hold separators, line ends and doubled quotes.
class Rows {
public:
    Rows(std::string_view text, char separator, Faults& faults) : text_(text), separator_(separator), faults_(faults) {}

    bool done() const { return text_.empty(); }
    std::size_t line() const { return line_; }

    // A remark's line, without its end; only at the beginning of a row.
    bool remark(std::string_view& out) {
        if (!text_.starts_with('#')) return false;
        out = text_.substr(0, text_.find('\n'));
        drop(out.size());
        end_line();
        if (out.ends_with('\r')) out.remove_suffix(1);
        return true;
    }

    Row next() {
        Row row;
        row.line = line_;
        for (;;) {
            row.cells.push_back(text_.starts_with('"') ? quoted() : plain());
            if (!text_.starts_with(separator_) || row.cells.size() == most_columns) break;
            drop(1);
        }
        end_line();
        return row;
    }

private:
    void drop(std::size_t n) { text_.remove_prefix(std::min(n, text_.size())); }

    void end_line() {
        if (text_.starts_with('\r')) drop(1);
        if (!text_.empty() && !text_.starts_with('\n')) {
            faults_.add(fmt::format("line {}", line_), "has something behind a quoted cell, or too many cells");
            drop(std::min(text_.find('\n'), text_.size()));
        }
        drop(1);
        ++line_;
    }

    std::string plain() {
        const std::size_t end = std::min({text_.find(separator_), text_.find('\n'), text_.size()});
        std::string_view cell = text_.substr(0, end);
        drop(end);
        if (text_.starts_with('\n') && cell.ends_with('\r')) cell.remove_suffix(1);
        if (text_.empty() && cell.ends_with('\r')) cell.remove_suffix(1);
        if (cell.find('"') != std::string_view::npos)
            faults_.add(fmt::format("line {}", line_), "has a quotation mark within an unquoted cell");
        return std::string(cell);
    }

    std::string quoted() {
        const std::size_t begun = line_;
        std::string out;
        for (drop(1);;) {
            const std::size_t end = text_.find('"');
            if (end == std::string_view::npos) {
                faults_.add(fmt::format("line {}", begun), "has a quoted cell that never ends");
                text_ = {};
                return out;
            }
            out += text_.substr(0, end);
            line_ += static_cast<std::size_t>(std::count(text_.begin(), text_.begin() + static_cast<long>(end), '\n'));
            drop(end + 1);
            if (!text_.starts_with('"')) return out;
            out += '"';
            drop(1);
        }
    }

    std::string_view text_;
    char separator_;
    Faults& faults_;
    std::size_t line_ = 1;
};

using Columns = std::map<std::string, std::size_t, std::less<>>;

Columns read_head(const Row& row, const PackageRule& rule, Faults& faults) {
    Columns out;
    for (std::size_t i = 0; i < row.cells.size(); ++i) {
        const std::string name(trim(row.cells[i]));
        if (!out.emplace(name, i).second)
            faults.add(fmt::format("line {}", row.line), fmt::format("names the column \"{}\" twice", printable(name)));
    }
    for (const auto* mapping : {&rule.release_fields, &rule.piece_fields})
        for (const auto& [field, name] : *mapping)
            if (!name.starts_with('#') && !out.contains(name))
                faults.add(fmt::format("line {}", row.line), fmt::format("has no column \"{}\"", name));
    return out;
}

RawItem item_of(const Row& row, const Columns& columns, const std::map<std::string, std::string>& mapping) {
    RawItem out;
    out.place = fmt::format("line {}", row.line);
    for (const auto& [field, name] : mapping) {
        const auto at = columns.find(name);
        if (at == columns.end() || at->second >= row.cells.size()) continue;
        const std::string& cell = row.cells[at->second];
        // An empty cell says nothing.
        if (!cell.empty()) out.fields[field] = {RawKind::plain, cell, {}, out.place + " " + name};
    }
    return out;
}

}  // namespace

void read_remark(std::string_view line, const std::string& place, const PackageRule& rule, RawItem& release,
                 Faults& faults) {
    const std::size_t colon = line.find(':');
    if (colon == std::string_view::npos) return;
    const std::string name = "#" + std::string(trim(line.substr(1, colon - 1)));
    for (const auto& [field, mapped] : rule.release_fields) {
        if (mapped != name) continue;
        const Raw value{RawKind::plain, std::string(trim(line.substr(colon + 1))), {}, place};
        if (!release.fields.emplace(field, value).second)
            faults.add(place, fmt::format("gives {} a second time", name));
    }
}

RawIndex read_table(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    out.between.assign(1, ' ');
    out.release.place = rule.index;
    text = without_mark(text);
    Rows rows(text, rule.form == "tsv" ? '\t' : rule.separator, faults);
    Columns columns;
    if (!rule.columns.empty()) columns = read_head({0, rule.columns}, rule, faults);
    while (!rows.done()) {
        std::string_view remark;
        const std::string place = fmt::format("line {}", rows.line());
        if (rows.remark(remark)) {
            read_remark(remark, place, rule, out.release, faults);
            continue;
        }
        const Row row = rows.next();
        if (row.cells.size() == 1 && trim(row.cells[0]).empty()) continue;
        if (columns.empty()) {
            columns = read_head(row, rule, faults);
            continue;
        }
        if (row.cells.size() != columns.size())
            faults.add(place, fmt::format("has {} cells, its head {}", row.cells.size(), columns.size()));
        if (out.pieces.size() == most_pieces) {
            faults.add(place, fmt::format("is one more than the {} that are read", most_pieces));
            break;
        }
        for (auto& [field, value] : item_of(row, columns, rule.release_fields).fields) {
            const auto [at, fresh] = out.release.fields.emplace(field, value);
            if (!fresh && at->second.text != value.text)
                faults.add(value.place, fmt::format("is \"{}\", in a line before \"{}\"", printable(value.text),
                                                    printable(at->second.text)));
        }
        RawItem piece = item_of(row, columns, rule.piece_fields);
        // A list without a head may name itself, and cannot hold its own digest.
        if (const auto file = piece.fields.find("file");
            !rule.columns.empty() && file != piece.fields.end() && file->second.text == rule.index)
            continue;
        out.pieces.push_back(std::move(piece));
    }
    if (out.pieces.empty()) faults.add(rule.index, "lists no file; at least one was expected");
    return out;
}

}  // namespace fettle::family
