// Files digested on several threads at once: each file's blocks go to one lane in order, the next file to the lane that
// has least to do. Memory: a few blocks a lane.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "fettle/base/digest.h"
#include "fettle/card/conveyor.h"

namespace fettle::card {

class DigestLanes {
public:
    explicit DigestLanes(unsigned lanes);
    ~DigestLanes();

    // Begins the next file. The algorithm is one of digest_hex's names; false for another, and nothing was begun.
    bool begin(const std::string& algorithm);
    Status add(Bytes block);
    void end();  // of this file

    Bytes buffer();  // to overwrite and hand to add(); of any length

    // Waits for all; the digests of the files in the order they were begun, lower-case hex.
    std::vector<std::string> finish();

private:
    struct Lane;
    std::vector<std::unique_ptr<Lane>> lanes_;
    Lane* now_ = nullptr;
    std::size_t files_ = 0;
};

}  // namespace fettle::card
