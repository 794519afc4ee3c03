#include "fettle/records/database.h"

#include <fcntl.h>
#include <fmt/core.h>
#include <soci/soci.h>
#include <soci/sqlite3/soci-sqlite3.h>
#include <unistd.h>

#include <deque>
#include <system_error>

namespace fettle::records {
namespace fs = std::filesystem;
namespace {

Next what_next(Trouble t) {
    switch (t) {
        case Trouble::busy: return "wait until the other command has ended, then try again";
        case Trouble::full: return "make room on the disk, then try again";
        case Trouble::damaged: return "keep the file as it is and go on from the last copy of this folder";
        case Trouble::read_only: return {"choose a place that can be written (", with(wanted("home", "DIR")), ")"};
        case Trouble::cannot_open:
            return {"check that the folder exists and can be written (", with(wanted("home", "DIR")), ")"};
        case Trouble::clash:
        case Trouble::other: break;
    }
    return "try again; if it stays, keep the message and the file";
}

std::string_view in_words(Trouble t) {
    switch (t) {
        case Trouble::busy: return "another process is writing";
        case Trouble::clash: return "a rule of the records was violated";
        case Trouble::full: return "the disk is full";
        case Trouble::damaged: return "is damaged or no database";
        case Trouble::read_only: return "cannot be written";
        case Trouble::cannot_open: return "cannot be opened";
        case Trouble::other: break;
    }
    return "the database failed";
}

// A new file's name must be on the disk too, or a power cut takes the whole file with it.
void sync_folder(const fs::path& file) {
    const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
    const int fd = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0) return;
    ::fsync(fd);
    ::close(fd);
}

// Without SOCI's own place in its code: "sqlite3_statement_backend::loadOne: attempt to write …".
std::string sqlites_words(const std::string& said) {
    const std::size_t soci = said.find("backend::");
    const std::size_t end = soci == std::string::npos ? soci : said.find(": ", soci);
    return end == std::string::npos ? said : said.substr(end + 2);
}

// A file in a place that cannot be written. It can be read as it is when nothing waits beside it: what a killed process
// left in its write-ahead file can only be put in where something may be written.
bool only_to_read(const fs::path& file) {
    const fs::path folder = file.has_parent_path() ? file.parent_path() : fs::path(".");
    if (::access(folder.c_str(), W_OK) == 0 && ::access(file.c_str(), W_OK) == 0) return false;
    std::error_code ec;
    const auto waiting = fs::file_size(file.string() + "-wal", ec);
    return ec || waiting == 0;
}

// As a URI of SQLite (RFC 3986 escapes), which then takes no locks and makes no files.
std::string as_unchanging(const fs::path& file) {
    std::string out = "file:";
    for (const char c : file.string()) {
        if (c == '%' || c == '?' || c == '#')
            out += fmt::format("%{:02X}", static_cast<unsigned char>(c));
        else
            out += c;
    }
    return out + "?immutable=1";
}

}  // namespace

struct Database::State {
    fs::path file;
    soci::session session;

    sqlite_api::sqlite3* raw() { return static_cast<soci::sqlite3_session_backend*>(session.get_backend())->conn_; }

    Error error(const soci::soci_error& e) {
        int result = SQLITE_ERROR;
        if (const auto* own = dynamic_cast<const soci::sqlite3_soci_error*>(&e)) result = own->result();
        // A step that failed on I/O for want of room reports a plain I/O error; the system call under it knows.
        if ((result & 0xFF) == SQLITE_IOERR && session.get_backend() &&
            sqlite_api::sqlite3_system_errno(raw()) == ENOSPC)
            result = SQLITE_FULL;
        const Trouble t = trouble_of(result);
        return {t == Trouble::clash ? ErrorKind::bad_input : ErrorKind::outside, std::string(code(t)), file.string(),
                fmt::format("{} ({})", in_words(t), sqlites_words(e.get_error_message())), what_next(t)};
    }

    template <class F>
    auto guarded(F&& work) -> decltype(work()) {
        try {
            return work();
        } catch (const soci::soci_error& e) {
            return tl::unexpected<Error>(error(e));
        }
    }
};

Database::Database(std::unique_ptr<State> state) : state_(std::move(state)) {}
Database::Database(Database&&) noexcept = default;
Database& Database::operator=(Database&&) noexcept = default;
Database::~Database() = default;

namespace {

Status refuse_nul(const std::vector<Value>& values) {
    for (const Value& v : values)
        if (const auto* text = std::get_if<std::string>(&v); text && text->find('\0') != std::string::npos)
            return bad_input("text-with-nul", "", "a text holds a NUL character, which records cannot keep",
                             "leave the character out");
    return {};
}

// SOCI wants addresses that stay: the values are copied here for the time of one statement.
struct Bound {
    std::deque<long long> numbers;
    std::deque<std::string> texts;

    void add(soci::statement& st, const std::vector<Value>& values) {
        for (const Value& v : values) {
            if (const auto* n = std::get_if<std::int64_t>(&v))
                st.exchange(soci::use(numbers.emplace_back(*n)));
            else
                st.exchange(soci::use(texts.emplace_back(std::get<std::string>(v))));
        }
    }
};

}  // namespace

Status Database::run(std::string_view sql, const std::vector<Value>& values) {
    if (auto ok = refuse_nul(values); !ok) return ok;
    return state_->guarded([&]() -> Status {
        soci::statement st(state_->session);
        Bound bound;
        bound.add(st, values);
        st.alloc();
        st.prepare(std::string(sql));
        st.define_and_bind();
        st.execute(true);
        return {};
    });
}

Status Database::run_each(std::string_view sql, const std::vector<std::vector<Value>>& rows) {
    if (rows.empty()) return {};
    for (const std::vector<Value>& row : rows)
        if (auto ok = refuse_nul(row); !ok) return ok;
    return state_->guarded([&]() -> Status {
        // One set of addresses, filled again for each row.
        std::deque<long long> numbers;
        std::deque<std::string> texts;
        soci::statement st(state_->session);
        for (const Value& v : rows.front()) {
            if (std::holds_alternative<std::int64_t>(v))
                st.exchange(soci::use(numbers.emplace_back()));
            else
                st.exchange(soci::use(texts.emplace_back()));
        }
        st.alloc();
        st.prepare(std::string(sql));
        st.define_and_bind();
        for (const std::vector<Value>& row : rows) {
            std::size_t number = 0, text = 0;
            for (const Value& v : row) {
                if (const auto* n = std::get_if<std::int64_t>(&v))
                    numbers.at(number++) = *n;
                else
                    texts.at(text++) = std::get<std::string>(v);
            }
            st.execute(true);
        }
        return {};
    });
}

Result<std::vector<Row>> Database::query(std::string_view sql, const std::vector<Kind>& columns,
                                         const std::vector<Value>& values) {
    std::vector<Row> rows;
    if (auto ok = each(sql, columns, values, [&](const Row& row) { rows.push_back(row); }); !ok) return pass(ok);
    return rows;
}

Status Database::each(std::string_view sql, const std::vector<Kind>& columns, const std::vector<Value>& values,
                      const std::function<void(const Row&)>& take) {
    if (auto ok = refuse_nul(values); !ok) return ok;
    return state_->guarded([&]() -> Status {
        struct Cell {
            long long number = 0;
            std::string text;
            soci::indicator indicator = soci::i_null;
        };
        std::vector<Cell> cells(columns.size());
        soci::statement st(state_->session);
        Bound bound;
        bound.add(st, values);
        for (std::size_t i = 0; i < columns.size(); ++i) {
            if (columns[i] == Kind::number)
                st.exchange(soci::into(cells[i].number, cells[i].indicator));
            else
                st.exchange(soci::into(cells[i].text, cells[i].indicator));
        }
        st.alloc();
        st.prepare(std::string(sql));
        st.define_and_bind();
        Row row;
        for (bool more = st.execute(true); more; more = st.fetch()) {
            row.values.clear();
            for (std::size_t i = 0; i < columns.size(); ++i) {
                const bool null = cells[i].indicator == soci::i_null;
                if (columns[i] == Kind::number)
                    row.values.emplace_back(std::int64_t{null ? 0 : cells[i].number});
                else
                    row.values.emplace_back(null ? std::string() : cells[i].text);
            }
            take(row);
        }
        return {};
    });
}

Status Database::write(const std::function<Status()>& work) {
    const auto undo = [this] {
        // After some errors SQLite has rolled back by itself; a second rollback then fails, which is no news.
        try {
            state_->session.once << "rollback";
        } catch (const soci::soci_error&) {
        }
    };
    if (auto begun = run("begin immediate"); !begun) return begun;
    try {
        if (Status done = work(); !done) {
            undo();
            return done;
        }
    } catch (...) {
        undo();
        throw;
    }
    Status committed = run("commit");
    if (!committed) undo();
    return committed;
}

Status Database::check() {
    auto rows = query("pragma integrity_check", {Kind::text});
    if (!rows) return pass(rows);
    if (rows->size() == 1 && rows->front().text(0) == "ok") return {};
    return outside_error("records-damaged", state_->file.string(),
                         rows->empty() ? "its check says nothing" : rows->front().text(0), what_next(Trouble::damaged));
}

namespace {

// "fettle_schema" says what the file is and how far it was brought; a file without it but with tables is not ours.
Result<std::int64_t> known_version(Database& db, const fs::path& file, const Schema& schema) {
    auto tables = db.query("select count(*) from sqlite_master", {Kind::number});
    if (!tables) return pass(tables);
    if (tables->front().number(0) == 0) return 0;
    auto ours = db.query("select count(*) from sqlite_master where name = 'fettle_schema'", {Kind::number});
    if (!ours) return pass(ours);
    const auto foreign = [&](std::string_view what) {
        return outside_error("records-not-ours", file.string(),
                             fmt::format("is a database, but {}; a {} was expected", what, schema.name),
                             Next{"name another home (", with(wanted("home", "DIR")), "); this file is left as it is"});
    };
    if (ours->front().number(0) == 0) return foreign("of another program");
    auto version = db.query("select name, version from fettle_schema", {Kind::text, Kind::number});
    if (!version) return pass(version);
    if (version->size() != 1) return foreign("its schema note is not one row");
    if (version->front().text(0) != schema.name) return foreign("a " + version->front().text(0));
    return version->front().number(1);
}

Status bring_up(Database& db, const fs::path& file, const Schema& schema) {
    const auto known = [&] { return known_version(db, file, schema); };
    const auto want = static_cast<std::int64_t>(schema.migrations.size());
    auto now = known();
    if (!now) return pass(now);
    if (*now == want) return {};
    return db.write([&]() -> Status {
        auto version = known();  // again: another process may have brought it up meanwhile
        if (!version) return pass(version);
        if (*version > want)
            return outside_error(
                "records-too-new", file.string(),
                fmt::format("was written by a newer Fettle (records version {}, this one knows {})", *version, want),
                "use the newer Fettle");
        if (*version == 0) {
            if (auto ok =
                    db.run("create table if not exists fettle_schema (name text not null, version integer not null)");
                !ok)
                return ok;
            if (auto ok = db.run("insert into fettle_schema (name, version) values (:name, 0)", {schema.name}); !ok)
                return ok;
        }
        for (std::int64_t k = *version; k < want; ++k) {
            for (const std::string& statement : schema.migrations[static_cast<std::size_t>(k)])
                if (auto ok = db.run(statement); !ok) return ok;
        }
        return db.run("update fettle_schema set version = :version", {want});
    });
}

}  // namespace

Result<Database> Database::open(const fs::path& file, const Schema& schema, std::chrono::milliseconds patience) {
    const std::string name = file.string();
    if (name.find_first_of("\"\n") != std::string::npos || name.find('\0') != std::string::npos)
        return bad_input("records-bad-path", name, "a path with a double quote or a line break cannot be opened",
                         Next{"choose another folder (", with(wanted("home", "DIR")), ")"});
    // Before SQLite wakes up; a name that begins with "file:" is then taken for a URI.
    static const int uris = sqlite_api::sqlite3_config(SQLITE_CONFIG_URI, 1);
    std::error_code ec;
    const bool there = fs::exists(file, ec);
    const bool unchanging = there && uris == SQLITE_OK && only_to_read(file);
    auto state = std::make_unique<State>();
    state->file = file;
    auto opened = state->guarded([&]() -> Status {
        state->session.open(soci::sqlite3, "dbname=\"" + (unchanging ? as_unchanging(file) : name) + "\"");
        sqlite_api::sqlite3_busy_timeout(state->raw(), static_cast<int>(patience.count()));
        return {};
    });
    if (!opened) return pass(opened);
    Database db(std::move(state));
    // Before anything is set: that would write, and what is another program's is left as it is.
    if (auto ours = known_version(db, file, schema); !ours) return pass(ours);
    if (unchanging) {
        if (auto ok = bring_up(db, file, schema); !ok) return pass(ok);
        return db;
    }
    opened = db.state_->guarded([&]() -> Status {
        soci::session& session = db.state_->session;
        std::string mode;
        session.once << "pragma journal_mode = wal", soci::into(mode);
        if (mode != "wal")
            return outside_error("records-failed", name,
                                 "the disk does not allow write-ahead records (mode " + mode + ")",
                                 Next{"choose a home on a local disk (", with(wanted("home", "DIR")), ")"});
        session.once << "pragma synchronous = full";
        session.once << "pragma foreign_keys = on";
        return {};
    });
    if (!opened) return pass(opened);
    if (auto ok = bring_up(db, file, schema); !ok) return pass(ok);
    if (!there) sync_folder(file);
    return db;
}

}  // namespace fettle::records
