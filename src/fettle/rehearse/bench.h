// The virtual set on its bench: its boxes with their plates, the card that is in, and where it answers.
#pragma once

#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/card/block_device.h"
#include "fettle/family/family.h"
#include "fettle/family/release.h"
#include "fettle/standin/server.h"

namespace fettle::rehearse {

class Bench {
public:
    // `start` is installed. bad_input "no-example-plate" for a box whose file gives none. The family must outlive it.
    static Result<std::unique_ptr<Bench>> make(const family::Family& family, const family::Release& start,
                                               std::uint64_t seed);

    const std::map<std::string, std::string>& plates() const { return plates_; }  // role → plate
    const std::string& market() const { return market_; }                         // empty: its release has none
    std::vector<std::string> addresses() const;  // of a set wired apart each box's, as BOX=ADDRESS
    // False: it has no link, or none that gives pieces; then only what a person sees is known.
    bool reads_pieces() const;

    Status put_in(const std::filesystem::path& card);
    void with(const std::function<void(standin::VirtualSet&)>& f) { server_->with(f); }
    Status start_update();

private:
    Bench(const family::Family& family, std::string market) : family_(family), market_(std::move(market)) {}

    const family::Family& family_;
    std::string market_;
    std::map<std::string, std::string> plates_;
    std::unique_ptr<card::BlockDevice> card_;
    std::unique_ptr<standin::Server> server_;
};

}  // namespace fettle::rehearse
