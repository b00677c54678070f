#!/bin/sh
# Makes direct.csv and enu.csv with the command-line programs of GeographicLib
# (Debian package geographiclib-tools; C. F. F. Karney, Algorithms for geodesics,
# J. Geodesy 87, 2013, 43-55). Run in this directory.
GeodSolve --version 2>&1 | sed 's/^/# /' > direct.csv
cp direct.csv enu.csv
echo "lat0,lon0,azi_deg,s_m,lat1,lon1" >> direct.csv
echo "lat0,lon0,h0_m,lat,lon,h_m,e_m,n_m,u_m" >> enu.csv
for o in "51.4 -2.3" "-33.8 150.7" "0 0" "64.1 -21.9" "40.2 -105.1" "-17.5 179.9999" "66 -180" "80.5 30" "85 -179.9995" "89 120" "-89 -60" "-45 180"; do
  for a in 0 33 90 147 180 -45 -90 -120.5; do
    for s in 20 100 200; do
      set -- $o
      p=$(echo "$1 $2 $a $s" | GeodSolve -p 6 | cut -d' ' -f1,2)
      echo "$1,$2,$a,$s,$(echo $p | tr ' ' ',')" >> direct.csv
      for h in 0 1600; do
        q="$(echo $p) $(( h + 12 ))"
        e=$(echo "$q" | CartConvert -l $1 $2 $h -p 6)
        echo "$1,$2,$h,$(echo $q | tr ' ' ','),$(echo $e | tr ' ' ',')" >> enu.csv
      done
    done
  done
done
