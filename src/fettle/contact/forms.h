// One text, read as whatever it could be: tables of records and single values, whatever the syntax. Says what stands
// where; what it means is for evidence.h. Never fails: a text that is not of a form gives no reading of that form.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace fettle::contact {

struct Scalar {
    std::string address;  // as a family file's mapping writes it: "/release", "about/@version", "#release", "about/key"
    std::string text;
};

// Records of one kind. A field's name is relative to its record, as a family file's mapping writes it; "key" names the
// member under which a record stands, columns of a table without a head are named "1", "2", ….
struct Table {
    std::string address;  // "/pieces", "parts/part", "part *"; a list within each record of another: "/pieces/*/files"
    std::vector<std::string> fields;
    std::vector<std::vector<std::string>> rows;  // as many cells as fields; "" where a record has no such field
};

struct Reading {
    std::string form;       // "json", "xml", "csv", "tsv", "ini", "digest-list"; "stanzas", "words": no family form
    char separator = ',';   // csv
    bool headless = false;  // csv, tsv: the first line is a record
    std::vector<Scalar> scalars;
    std::vector<Table> tables;
};

inline constexpr std::size_t most_rows = 200'000;  // of one table; what follows is not read
inline constexpr std::size_t most_fields = 64;

// All readings of the text, best known form first. is_name: whether a word names a file of the package; tells a
// table's head from its first record.
std::vector<Reading> readings_of(std::string_view text, const std::function<bool(std::string_view)>& is_name);

// The parts. Each nullopt-like: false when the text is not of that form.
bool read_json(std::string_view text, Reading& out);
bool read_xml(std::string_view text, Reading& out);
bool read_ini(std::string_view text, Reading& out);
bool read_digest_lines(std::string_view text, Reading& out);
bool read_stanzas(std::string_view text, Reading& out);
bool read_words(std::string_view text, Reading& out);
bool read_columns(std::string_view text, char separator, const std::function<bool(std::string_view)>& is_name,
                  Reading& out);

// A record's cells by name, put into a table; fields appear in the order they are met.
class Rows {
public:
    explicit Rows(Table& table) : table_(table) {}
    void begin();  // a new record; false cells are ""
    void set(const std::string& field, std::string text);
    bool full() const { return table_.rows.size() >= most_rows; }

private:
    Table& table_;
};

}  // namespace fettle::contact
