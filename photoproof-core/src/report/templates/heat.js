// Visible change: the cells of the first picture that changed, as the report states them.
function heatmap(canvas, rows) {
  "use strict";
  canvas.width = rows[0].length;
  canvas.height = rows.length;
  var pen = canvas.getContext("2d");
  var sheet = pen.createImageData(canvas.width, canvas.height);
  rows.join("").split("").forEach(function (letter, place) {
    // Tenths of sureness; what hardly changed stays clear, and so does what could not be compared.
    var sure = letter === "-" ? 0 : Number(letter) / 9;
    var change = Math.max(0, (sure - 0.2) / 0.8);
    sheet.data.set([255, Math.round(190 * (1 - change)), 0, Math.round(200 * Math.sqrt(change))], 4 * place);
  });
  pen.putImageData(sheet, 0, 0);
}
