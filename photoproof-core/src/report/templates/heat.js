// Visible change: where two aligned thumbnails differ in brightness once the overall exposure is evened out.
// An aid to the eye, made in the page; no check reads it.
function heatmap(canvas, data, map) {
  "use strict";
  function load(id) {
    return new Promise(function (resolve, reject) {
      var image = new Image();
      image.onload = function () { resolve(image); };
      image.onerror = reject;
      image.src = document.getElementById(id).getAttribute("href");
    });
  }

  function luma(image, width, height) {
    var sheet = document.createElement("canvas");
    sheet.width = width;
    sheet.height = height;
    var pen = sheet.getContext("2d", { willReadFrequently: true });
    pen.drawImage(image, 0, 0, width, height);
    var pixels = pen.getImageData(0, 0, width, height).data;
    var out = new Float32Array(width * height);
    for (var i = 0; i < out.length; i += 1) {
      out[i] = (0.299 * pixels[4 * i] + 0.587 * pixels[4 * i + 1] + 0.114 * pixels[4 * i + 2]) / 255;
    }
    return out;
  }

  // The inverse of a 3x3 map up to scale (its adjugate).
  function invert(m) {
    return [
      m[4] * m[8] - m[5] * m[7], m[2] * m[7] - m[1] * m[8], m[1] * m[5] - m[2] * m[4],
      m[5] * m[6] - m[3] * m[8], m[0] * m[8] - m[2] * m[6], m[2] * m[3] - m[0] * m[5],
      m[3] * m[7] - m[4] * m[6], m[1] * m[6] - m[0] * m[7], m[0] * m[4] - m[1] * m[3]
    ];
  }

  function differences(a, b, width, height, bWidth, bHeight) {
    var m = invert(map);
    var first = [], second = [], at = [];
    for (var y = 0; y < height; y += 1) {
      for (var x = 0; x < width; x += 1) {
        var u = (x + 0.5) / width, v = (y + 0.5) / width;
        var w = m[6] * u + m[7] * v + m[8];
        var bx = Math.floor((m[0] * u + m[1] * v + m[2]) / w * bWidth);
        var by = Math.floor((m[3] * u + m[4] * v + m[5]) / w * bWidth);
        if (bx < 0 || by < 0 || bx >= bWidth || by >= bHeight) continue;
        first.push(a[y * width + x]);
        second.push(b[by * bWidth + bx]);
        at.push(y * width + x);
      }
    }
    return { first: even(first), second: even(second), at: at };
  }

  // Mean 0 and spread 1, so that a brighter exposure is no change.
  function even(values) {
    var mean = values.reduce(function (sum, v) { return sum + v; }, 0) / Math.max(1, values.length);
    var spread = Math.sqrt(values.reduce(function (sum, v) { return sum + (v - mean) * (v - mean); }, 0) / Math.max(1, values.length)) || 1;
    return values.map(function (v) { return (v - mean) / spread; });
  }

  Promise.all([load(data.a), load(data.b)]).then(function (images) {
    var width = 240, height = Math.round(width * data.ah / data.aw);
    var bWidth = 240, bHeight = Math.round(bWidth * data.bh / data.bw);
    var found = differences(luma(images[0], width, height), luma(images[1], bWidth, bHeight), width, height, bWidth, bHeight);
    canvas.width = width;
    canvas.height = height;
    var pen = canvas.getContext("2d");
    var sheet = pen.createImageData(width, height);
    found.at.forEach(function (place, i) {
      var change = Math.min(1, Math.max(0, (Math.abs(found.first[i] - found.second[i]) - 0.5) / 2));
      sheet.data.set([255, Math.round(190 * (1 - change)), 0, Math.round(230 * Math.sqrt(change))], 4 * place);
    });
    pen.putImageData(sheet, 0, 0);
  }, function () { canvas.remove(); });
}
