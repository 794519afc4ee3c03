// Any order of adding, removing, tidying, verifying and being killed, held against a plain copy of what was added.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>

#include "fettle/shelf/losing_disk_test_help.h"
#include "fettle/shelf/shelf_test_help.h"

namespace fettle::shelf {
namespace {

constexpr int releases = 6;

// A release's pieces: each starts from the bytes of the release before, and some of them are changed, some are cut,
// some have something put in, some go, some come.
std::vector<Made> line_of_releases(unsigned seed) {
    const auto next = [&] { return (seed = seed * 1664525 + 1013904223) >> 16; };
    std::vector<Made> out;
    std::map<std::string, std::string> pieces;
    for (int r = 0; r < releases; ++r) {
        for (int i = 0; i < 5; ++i) {
            std::string& content = pieces["main/" + std::to_string(i)];
            if (content.empty() || next() % 9 == 0) {
                content.clear();
                for (unsigned k = next() % 2500; k > 0; --k) content += static_cast<char>(next() % (1 + next() % 255));
            }
            switch (next() % 5) {
                case 0: break;
                case 1:
                    if (!content.empty()) content[next() % content.size()] ^= 0x55;
                    break;
                case 2: content.insert(content.size() / 2, "something new " + std::to_string(next())); break;
                case 3: content.resize(content.size() - content.size() / 3); break;
                default: content += std::string(next() % 50, 'x'); break;
            }
        }
        if (next() % 4 == 0) pieces.erase("main/4");
        Made m;
        m.release = "27." + std::to_string(r) + ".1";
        m.pieces = pieces;
        out.push_back(std::move(m));
    }
    return out;
}

struct Step {
    int what = 0;  // 0–3 add, 4 remove, 5 tidy, 6 verify, 7 add and be killed, 8 tidy and be killed, 9 open again
    int release = 0, call = 1;
};

void check(const Shelf& shelf, const std::map<std::string, const Made*>& model) {
    const auto all = shelf.outlines();
    RC_ASSERT(all.has_value());
    RC_ASSERT(all->size() == model.size());
    for (const auto& [name, made] : model)
        for (const auto& [path, content] : made->pieces) {
            std::string got;
            const auto ok = shelf.read("dunnock", name, path, [&](ByteView b) {
                got += as_text(b);
                return Status();
            });
            RC_ASSERT(ok.has_value());
            RC_ASSERT(got == content);
        }
}

RC_GTEST_PROP(ShelfModel, EveryShelvedReleaseStaysBitForBit, ()) {
    const auto made = line_of_releases(*rc::gen::arbitrary<unsigned>());
    const auto steps =
        *rc::gen::resize(6, rc::gen::container<std::vector<Step>>(rc::gen::apply(
                                [](int what, int release, int call) { return Step{what, release, call}; },
                                rc::gen::inRange(0, 10), rc::gen::inRange(0, releases), rc::gen::inRange(1, 22))));
    TempFolder t;
    const fs::path home = t.path / "shelf";
    std::optional<Shelf> shelf(Shelf::open(home).value());
    std::map<std::string, const Made*> model;
    const auto package = [&](const Made& m) {
        const fs::path folder = t.path / m.release;
        return fs::exists(folder) ? folder : m.folder(folder);
    };
    const auto killed_at = [&](int call, const std::function<void(Shelf&)>& work) {
        shelf.reset();
        const pid_t pid = ::fork();
        if (pid == 0) {
            LosingDisk disk(call, Fails::killed);
            if (auto own = Shelf::open(home, &disk)) work(*own);
            ::_exit(0);
        }
        RC_ASSERT(::waitpid(pid, nullptr, 0) == pid);
        shelf.emplace(Shelf::open(home).value());
    };
    for (const Step& step : steps) {
        const Made& m = made[static_cast<std::size_t>(step.release)];
        if (step.what <= 3) {
            RC_ASSERT(shelf->add(dunnock(), request(package(m)), noon()).has_value());
            model[m.release] = &m;
        } else if (step.what == 4) {
            RC_ASSERT(shelf->remove("dunnock", m.release).has_value() == (model.erase(m.release) == 1));
        } else if (step.what == 5) {
            RC_ASSERT(shelf->tidy().has_value());
        } else if (step.what == 6) {
            const auto v = shelf->verify("", "", noon());
            RC_ASSERT(v.has_value());
            RC_ASSERT(v->damage.empty());
        } else if (step.what == 7) {
            const fs::path folder = package(m);
            killed_at(step.call, [&](Shelf& s) { (void)s.add(dunnock(), request(folder), noon()); });
            const auto there = shelf->outlines();
            for (const Outline& o : there.value())  // it may have come through
                if (o.release.release == m.release) model[m.release] = &m;
        } else if (step.what == 8) {
            killed_at(step.call, [&](Shelf& s) { (void)s.tidy(); });
        } else {
            shelf.emplace(Shelf::open(home).value());
        }
        check(*shelf, model);
    }
    RC_ASSERT(shelf->tidy().has_value());
    RC_ASSERT(shelf->verify("", "", noon())->damage.empty());
    check(*shelf, model);
    RC_ASSERT(fs::is_empty(home / "staging"));
}

}  // namespace
}  // namespace fettle::shelf
